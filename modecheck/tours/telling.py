"""Bench steps in words: what to do, what happens, what to see."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from modecheck.checks.ways import Move
from modecheck.engine.happenings import Took
from modecheck.engine.plain import State, Step
from modecheck.product.form import Product
from modecheck.scenario.words import sentence
from modecheck.tours.plan import See
from modecheck.tours.settling import Settling


class Teller:
    """Tells of the steps of one product."""

    def __init__(self, settling: Settling) -> None:
        self._settling = settling
        self._product: Product = settling.product
        self._modes = [f"mode:{name}" for name in self._product.device.modes]

    def deed(self, step: Step) -> tuple[str, str]:
        """What somebody does, and what others do in the same step (or nothing), as in "the player
        steps on the pedal" and "pedal hears step".
        """
        label = self._product.labels[step.label]
        if label.kind != "rule" or not self._product.chips[label.chip].actor:
            return sentence(self._product, step), ""
        own = tuple(h for h in step.happenings if isinstance(h, Took) and h.heard < 0)
        rest = tuple(h for h in step.happenings if h not in own)
        does = sentence(self._product, step._replace(happenings=own))
        answer = sentence(self._product, step._replace(happenings=rest)) if rest else ""
        lead = f"the {self._product.chips[label.chip].name} acts"
        answer = answer.removeprefix(lead).removeprefix(":").removeprefix(" and").strip()
        return does, answer

    def told(self, steps: Iterable[Step]) -> tuple[str, ...]:
        """What chips and links do by themselves, a sentence for each step."""
        return tuple(sentence(self._product, step) for step in steps)

    def see(self, before: State | None, after: State) -> See:
        """What is there to see after a step, and what is new since `before`."""
        states, values = self._states(after), self._values(after)
        modes = self.modes(after)
        changed: list[str] = []
        if before is None:
            changed += [f"mode: {_named(modes)}"] if self._modes else []
            changed += [f"{name}: {state}" for name, state in states.items()]
            changed += [f"{name}: {value}" for name, value in values.items()]
        else:
            old = self.modes(before)
            changed += [f"mode: {_named(old)} → {_named(modes)}"] if old != modes else []
            changed += _differences(self._states(before), states)
            changed += _differences(self._values(before), values)
        return See(modes, tuple(changed), states, values)

    def other(self, usual: State, other: State) -> str:
        """How another outcome looks where it differs from the usual one."""
        modes = self.modes(other)
        parts = [f"mode: {_named(modes)}"] if modes != self.modes(usual) else []
        for of in (self._states, self._values):
            ours, theirs = of(usual), of(other)
            parts += [f"{name}: {theirs[name]}" for name in theirs if theirs[name] != ours[name]]
        return "; ".join(parts) or "the same to look at, but messages wait in links"

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

    def takes(self, steps: Sequence[Step]) -> tuple[str, ...]:
        """The rules that some steps take, each once."""
        rules = (h.rule for step in steps for h in step.happenings if isinstance(h, Took))
        named = (self._product.rules[rule] for rule in rules)
        return tuple(dict.fromkeys(f"{rule.chip}.{rule.title}" for rule in named))


def moves_of(steps: Iterable[Step]) -> tuple[Move, ...]:
    """Steps as moves that can be replayed."""
    return tuple(Move(step.label, step.after) for step in steps)


def _named(modes: Sequence[str]) -> str:
    return " and ".join(modes) or "none"


def _differences(old: dict[str, str], new: dict[str, str]) -> list[str]:
    return [f"{name}: {old[name]} → {new[name]}" for name in new if old[name] != new[name]]
