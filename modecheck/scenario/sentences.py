"""One step in words: which chip did what, what others heard, what was sent and what was lost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Doubled,
    Dropped,
    Happening,
    Passed,
    SignalEmitted,
    Started,
    Struck,
    Took,
)
from modecheck.engine.reference.plain import State, Step
from modecheck.model.clocks import spelled
from modecheck.model.wording import listed
from modecheck.product.ir import Label, Product

WHY_DROPPED = {
    "full": "is dropped because the link is full",
    "down": "is dropped because the link is down",
}


@dataclass(frozen=True, slots=True)
class Clause:
    """A subject and what it did; consecutive clauses with the same subject are joined."""

    subject: str
    predicate: str


def sentence(product: Product, step: Step) -> str:
    """A step as a sentence in the present tense, without a full stop, such as
    "the player unplugs the cable: hub hears usb_unplugged and goes from linked to off".
    """
    words = _Words(product, step)
    told = [clause for happening in step.happenings for clause in words.clauses(happening)]
    label = product.labels[step.label]
    acting = _acting(label, step)
    if acting >= 0 and words.chip(acting) not in [clause.subject for clause in told]:
        told.insert(0, Clause(words.chip(acting), "acts"))
    if not told and not step.failures:
        return label.text  # idling, or a step of an observer: nothing happens in the device
    parts = [
        f"{subject} {listed([clause.predicate for clause in group])}"
        for subject, group in groupby(told, key=lambda clause: clause.subject)
    ]
    parts += [failure.text for failure in step.failures]
    return ": ".join([parts[0], "; ".join(parts[1:])]) if len(parts) > 1 else parts[0]


def _acting(label: Label, step: Step) -> int:
    """The chip that begins the step with a rule of its own, also where power fails in it, or -1."""
    if label.kind == "rule":
        return label.chip
    own = (one.chip for one in step.happenings if isinstance(one, Took) and one.heard < 0)
    return next(own, -1)


def beginnings(product: Product, state: State) -> Iterator[tuple[int, str]]:
    """How each chip (number) starts that may start in several ways: "starts with retries = 3"."""
    for number, chip in enumerate(product.chips):
        own = (n for n, field in enumerate(product.fields) if field.owner == number)
        held = _begun(product, number, own, state)
        words = []
        if product.fields[chip.state_field].starts:
            words.append(f"in {chip.leaves[state[chip.state_field]]}")
        words += [f"with {listed(held)}"] if held else []
        if words:
            yield number, " ".join(["starts", *words])


def _begun(product: Product, chip: int, fields: Iterable[int], state: State) -> list[str]:
    """What some fields of a chip hold, those that may start with several values."""
    name = product.chips[chip].name
    known = ((product.fields[n], state[n]) for n in fields)
    return [
        f"{field.name.removeprefix(f'{name}.')} = {field.type.spell(value)}"
        for field, value in known
        if field.starts and field.type is not None
    ]


def changes(product: Product, before: State, after: State) -> tuple[str, ...]:
    """The variables that a step changed, such as "hub.retries 0 → 1"."""
    changed = []
    for field, old, new in zip(product.fields, before, after, strict=True):
        if old != new and field.type is not None:
            spell = field.type.spell
            changed.append(f"{field.name} {spell(old)} → {spell(new)}")
    return tuple(changed)


class _Words:
    def __init__(self, product: Product, step: Step) -> None:
        self._product = product
        self._step = step

    def clauses(self, happening: Happening) -> list[Clause]:
        """What is worth reporting of a happening: nothing, or one clause or more."""
        if isinstance(happening, Took):
            return self._took(happening)
        if isinstance(happening, Arrived):
            return [self._arrived(happening)]
        if isinstance(happening, Accepted):
            return [self._accepted(happening)]
        if isinstance(happening, Dropped):
            return [self._dropped(happening)]
        if isinstance(happening, Doubled | Corrupted):
            does = "duplicates" if isinstance(happening, Doubled) else "corrupts"
            message = self._message(happening.queue, happening.message)
            return [Clause(self._link(happening.queue), f"{does} {message}")]
        if isinstance(happening, Passed):
            return [self._passed(happening)]
        if isinstance(happening, Started):
            found = beginnings(self._product, self._step.after or self._product.initial)
            return [Clause(self.chip(chip), words) for chip, words in found]
        return (
            [self._struck(happening)]
            if isinstance(happening, Struck)
            else self._signalled(happening)
        )

    def _passed(self, passed: Passed) -> Clause:
        clock = self._product.device.clock
        assert clock is not None
        text = spelled(passed.ticks * clock.tick)
        return Clause(text, "passes" if text.startswith("1 ") else "pass")

    def _took(self, took: Took) -> list[Clause]:
        name, doing = self.chip(took.chip), self._doing(took)
        if took.heard >= 0:
            hears = f"hears {signal_text(self._product, took.heard, took.value)}"
            leaf = self._product.chips[took.chip].leaves[took.before]
            doing = [hears, *(doing or [f"stays in {leaf}"])]
        return [Clause(name, predicate) for predicate in doing]

    def _doing(self, took: Took) -> list[str]:
        """The rule's phrase, the change of state, or the rule's name; else nothing."""
        rule = self._product.rules[took.rule]
        form = self._product.chips[took.chip]
        before, after = form.leaves[took.before], form.leaves[took.after]
        moved = "" if before == after else f"goes from {before} to {after}"
        if rule.phrase:
            return [rule.phrase, *([moved] if moved and not form.actor else [])]
        if rule.after is not None:
            return [f"has waited {rule.after.text} in {before}", *([moved] if moved else [])]
        if rule.expires:
            return [f"sees its timer {rule.expires} expire", *([moved] if moved else [])]
        if moved:
            return [moved]
        return [] if ":" in rule.title else [f"takes {rule.title} in {before}"]

    def _arrived(self, arrived: Arrived) -> Clause:
        queue = self._product.queues[arrived.queue]
        late = "the late " if arrived.late else ""
        message = self._message(arrived.queue, arrived.message, arrived.value)
        discarded = " and discards it" if arrived.outcome == "discarded" else ""
        text = f"receives {late}{message} over {queue.name}{discarded}"
        return Clause(self.chip(queue.receiver), text)

    def _accepted(self, accepted: Accepted) -> Clause:
        queue = self._product.queues[accepted.queue]
        message = self._message(accepted.queue, accepted.message, accepted.value)
        verb = "renews" if accepted.merged else "sends"
        return Clause(self.chip(queue.sender), f"{verb} {message} over {queue.name}")

    def _dropped(self, dropped: Dropped) -> Clause:
        link = self._link(dropped.queue)
        message = self._message(dropped.queue, dropped.message)
        if dropped.why == "lost":
            return Clause(link, f"loses {message}")
        if dropped.why == "cut":
            return Clause(f"{message} in flight over {link}", "is lost")
        return Clause(f"{message} over {link}", WHY_DROPPED[dropped.why])

    def _struck(self, struck: Struck) -> Clause:
        form = self._product.chips[struck.chip]
        verb = "loses power" if struck.kind == "power_cut" else "is reset"
        held: list[str] = []
        if self._step.after is not None:
            fresh = (field for field, _ in form.restarts[0])
            held = _begun(self._product, struck.chip, fresh, self._step.after)
        again = f" and restarts in {form.leaves[struck.leaf]}"
        again += f" with {listed(held)}" if held else ""
        if struck.rule < 0:
            return Clause(form.name, f"{verb}{again}")
        rule = self._product.rules[struck.rule]
        done = rule.assignments[struck.done - 1].text
        again = again if len(form.restarts) > 1 else ""
        return Clause(form.name, f"{verb} in the middle of {rule.title}, right after {done}{again}")

    def _signalled(self, signalled: SignalEmitted) -> list[Clause]:
        """Mentioned only where no chip reacts: else the sentences of those that do mention it."""
        signal = signal_text(self._product, signalled.signal, signalled.value)
        heard = any(
            isinstance(h, Took) and h.heard == signalled.signal for h in self._step.happenings
        )
        return [] if heard or self._step.failures else [Clause("no chip", f"reacts to {signal}")]

    def chip(self, number: int) -> str:
        form = self._product.chips[number]
        return f"the {form.name}" if form.actor else form.name

    def _link(self, queue: int) -> str:
        return self._product.queues[queue].name

    def _message(self, queue: int, code: int, value: int | None = None) -> str:
        return message_text(self._product, queue, code, value)


def message_text(product: Product, queue: int, code: int, value: int | None) -> str:
    """A message with its value, if it carries one that is known, such as "picture(true)"."""
    message = product.queues[queue].messages[code - 1]
    if value is None or message.type is None:
        return message.name
    return f"{message.name}({message.type.spell(value)})"


def signal_text(product: Product, signal: int, value: int) -> str:
    """A signal with its value, if it carries one, such as "level(2)"."""
    type_ = product.signal_types[signal]
    name = product.signals[signal]
    return name if type_ is None else f"{name}({type_.spell(value)})"
