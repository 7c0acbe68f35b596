"""Bench steps in words: what to do, what happens, what to see."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby

from modecheck.engine.reference.happenings import Took
from modecheck.engine.reference.plain import State, Step
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move
from modecheck.scenario.sentences import beginnings, sentence
from modecheck.tours.coming_out import ComingOut
from modecheck.tours.plan import BenchStep, See
from modecheck.tours.settling import Settling

ARROW = " → "
FAULT_WORDS = {
    "power_cut": "cut the power of {}",
    "reset": "reset {}",
    "lose": "make {} lose the next message",
    "duplicate": "make {} deliver the next message twice",
    "corrupt": "make {} corrupt the next message",
}


class Teller:
    """Describes the steps of one product."""

    def __init__(self, settling: Settling) -> None:
        self._settling = settling
        self._product: Product = settling.product
        self._coming_out = ComingOut(settling.product)
        self._modes = [f"mode:{name}" for name in self._product.device.modes]

    def step(self, kind: str, before: State | None, run: Sequence[Step], end: State) -> BenchStep:
        """A step of a test from a state (None at the start) to `end`, in which these steps of the
        product are taken, the first by a person unless it is the start.
        """
        does, happens = self._switching_on(), self.told(run)
        if before is not None:
            does, answer = self.deed(run[0])
            happens = ((answer,) if answer else ()) + happens[1:]
        passed = [step.after for step in run if step.after is not None] or [end]
        return BenchStep(
            kind=kind,
            do=does,
            happens=happens,
            see=self._with_what_comes_out(self._see(before, passed), run, start=before is None),
            moves=tuple(Move(step.label, step.after) for step in run),
            takes=self.takes(run),
            waits=self.waits(run),
        )

    def _switching_on(self) -> str:
        """The beginning of a test; of several starts it is the first, which has to be prepared."""
        product = self._product
        found = (
            f"{product.chips[chip].name} {words}"
            for chip, words in beginnings(product, product.initial)
        )
        return "; ".join(["switch everything on", *found])

    def deed(self, step: Step) -> tuple[str, str]:
        """What a person does, and what others do in the same step (or nothing), as in "the player
        steps on the pedal" and "pedal hears step".
        """
        label = self._product.labels[step.label]
        if label.kind in FAULT_WORDS:
            part = (
                self._product.chips[label.chip]
                if label.chip >= 0
                else self._product.queues[label.queue]
            )
            return FAULT_WORDS[label.kind].format(part.name), sentence(self._product, step)
        if label.kind != "rule" or not self._product.chips[label.chip].actor:
            return sentence(self._product, step), ""
        own = tuple(h for h in step.happenings if isinstance(h, Took) and h.heard < 0)
        rest = tuple(h for h in step.happenings if h not in own)
        does = sentence(self._product, step._replace(happenings=own, failures=()))
        answer = sentence(self._product, step._replace(happenings=rest)) if rest else ""
        lead = f"the {self._product.chips[label.chip].name} acts"
        answer = answer.removeprefix(lead).removeprefix(":").removeprefix(" and").strip()
        return does, answer

    def told(self, steps: Iterable[Step]) -> tuple[str, ...]:
        """What chips and links do by themselves, a sentence for each step."""
        return tuple(sentence(self._product, step) for step in steps)

    def _with_what_comes_out(self, see: See, run: Sequence[Step], *, start: bool) -> See:
        """What comes out; at the start, what happens by itself besides."""
        nothing = not see.changed and not start
        return replace(see, received=self._coming_out.received(run, nothing_else=nothing))

    def _see(self, before: State | None, run: Sequence[State]) -> See:
        """What can be seen while a device passes through the states of a run, its end last, and
        what is new since `before`; None at the start, when everything is new.
        """
        after = run[-1]
        states, values = self._states(after), self._values(after)
        passed = run if before is None else [before, *run]
        modes = [_named(self.modes(state)) for state in passed] if self._modes else []
        changed = [_in_turn("mode", modes)]
        for of in (self._states, self._values):
            told = [of(state) for state in passed]
            changed += [_in_turn(name, [one[name] for one in told]) for name in told[-1]]
        if before is not None:
            changed = [text for text in changed if ARROW in text]
        return See(self.modes(after), tuple(filter(None, changed)), states, values)

    def other(self, usual: State, other: State) -> str:
        """How another outcome looks, as far as it differs from the usual one."""
        modes = self.modes(other)
        parts = [f"mode {_named(modes)}"] if modes != self.modes(usual) else []
        for of in (self._states, self._values):
            ours, theirs = of(usual), of(other)
            parts += [f"{name} {theirs[name]}" for name in theirs if theirs[name] != ours[name]]
        return "; ".join(parts) or "looks the same, but messages are waiting in links"

    def modes(self, state: State) -> tuple[str, ...]:
        """The modes that a device is in."""
        return tuple(
            name.removeprefix("mode:")
            for name in self._modes
            if self._settling.condition(name, state)
        )

    def _states(self, state: State) -> dict[str, str]:
        """The states of chips; where actors are a person knows."""
        chips = (chip for chip in self._product.chips if not chip.actor)
        return {chip.name: chip.leaves[state[chip.state_field]] for chip in chips}

    def _values(self, state: State) -> dict[str, str]:
        fields = zip(self._product.fields, state, strict=True)
        return {
            field.name: field.type.spell(value)
            for field, value in fields
            if field.type is not None and not self._product.chips[field.owner].actor
        }

    def waits(self, steps: Iterable[Step]) -> tuple[str, ...]:
        """The times of the timers that expire in some steps, as the model writes them."""
        labels = (self._product.labels[step.label] for step in steps)
        rules = (self._product.rules[label.rule] for label in labels if label.kind == "rule")
        return tuple(rule.after.text for rule in rules if rule.after is not None)

    def takes(self, steps: Sequence[Step]) -> tuple[str, ...]:
        """The rules that some steps take, each once."""
        rules = (h.rule for step in steps for h in step.happenings if isinstance(h, Took))
        named = (self._product.rules[rule] for rule in rules)
        return tuple(dict.fromkeys(f"{rule.chip}.{rule.title}" for rule in named))


def _named(modes: Sequence[str]) -> str:
    return " and ".join(modes) or "none"


def _in_turn(name: str, values: Sequence[str]) -> str:
    """As in "hub dark → wired_up", each value once as long as it stays; nothing without values."""
    kept = [value for value, _ in groupby(values)]
    return f"{name} {ARROW.join(kept)}" if kept else ""
