"""One step in words: who did what, what others heard, what was sent and what was lost."""

from __future__ import annotations

from modecheck.engine.happenings import (
    Accepted,
    Arrived,
    Doubled,
    Dropped,
    Happening,
    Raised,
    Struck,
    Took,
)
from modecheck.engine.plain import State, Step
from modecheck.product.form import ChipForm, Label, Product

WHY_DROPPED = {"full": "is full", "down": "is down", "cut": "is emptied"}


def sentence(product: Product, step: Step) -> str:
    """A step as a sentence without a full stop, such as
    "the player unplugs the cable: hub hears usb_unplugged and goes from linked to off".
    """
    return _Words(product, step).sentence()


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
        self._label: Label = product.labels[step.label]

    def sentence(self) -> str:
        happenings = list(self._step.happenings)
        head = self._head(happenings)
        clauses = [clause for happening in happenings if (clause := self._clause(happening))]
        if self._step.failure is not None:
            clauses.append(self._failure())
        return f"{head}: {'; '.join(clauses)}" if clauses else head

    def _head(self, happenings: list[Happening]) -> str:
        """The first clause; what it tells is taken off the list."""
        kind = self._label.kind
        if happenings and isinstance(happenings[0], Arrived):
            return self._arrival(happenings)
        if kind in ("power_cut", "reset") and happenings:
            return self._strike(happenings)
        if kind == "cut_in_rule":
            return self._strike_in_rule(happenings)
        if kind in ("lose", "duplicate") and happenings:
            first = happenings.pop(0)
            assert isinstance(first, Dropped | Doubled)
            verb = "loses" if kind == "lose" else "doubles"
            return f"{self._link(first.queue)} {verb} {self._message(first.queue, first.message)}"
        if happenings and isinstance(happenings[0], Took):
            first = happenings.pop(0)
            assert isinstance(first, Took)
            return self._own_step(first)
        return f"{self._name(self._label.chip)} takes {self._product.rules[self._label.rule].title}"

    def _arrival(self, happenings: list[Happening]) -> str:
        first = happenings.pop(0)
        assert isinstance(first, Arrived)
        queue = self._product.queues[first.queue]
        late = "the late " if first.late else ""
        message = self._message(first.queue, first.message, first.value)
        head = f"{self._name(queue.receiver)} receives {late}{message} over {queue.name}"
        if first.outcome == "ignored":
            return f"{head} and ignores it"
        if happenings and isinstance(happenings[0], Took):
            took = happenings.pop(0)
            assert isinstance(took, Took)
            return f"{head} and {self._movement(took)}"
        return head

    def _own_step(self, took: Took) -> str:
        rule = self._product.rules[took.rule]
        form = self._product.chips[took.chip]
        name = self._name(took.chip)
        if rule.phrase:
            moved = f" and {self._movement(took)}" if not form.actor else ""
            return f"{name} {rule.phrase}{moved}"
        if rule.after is not None:
            return f"{rule.after.text} pass in {form.leaves[took.before]}, {name} {self._movement(took)}"
        if took.before == took.after:
            return f"{name} takes {rule.title} in {form.leaves[took.before]}"
        return f"{name} {self._movement(took)}"

    def _strike(self, happenings: list[Happening]) -> str:
        first = happenings.pop(0)
        assert isinstance(first, Struck)
        form = self._product.chips[first.chip]
        verb = "loses power" if first.kind == "power_cut" else "is reset"
        return f"{form.name} {verb} and starts again in {form.leaves[form.initial]}"

    def _strike_in_rule(self, happenings: list[Happening]) -> str:
        struck = next(one for one in happenings if isinstance(one, Struck))
        happenings.remove(struck)
        form = self._product.chips[struck.chip]
        rule = self._product.rules[struck.rule]
        verb = "loses power" if struck.kind == "power_cut" else "is reset"
        done = rule.assignments[struck.done - 1].text
        return f"{form.name} {verb} in the middle of {rule.title}, right after {done}"

    def _clause(self, happening: Happening) -> str:
        if isinstance(happening, Took):
            rule = self._product.rules[happening.rule]
            doing = rule.phrase or self._movement(happening)
            heard = self._product.signals[happening.heard] if happening.heard >= 0 else ""
            return f"{self._name(happening.chip)} {f'hears {heard} and ' if heard else ''}{doing}"
        if isinstance(happening, Raised):
            return self._raised(happening)
        if isinstance(happening, Accepted):
            message = self._message(happening.queue, happening.message, happening.value)
            verb = "renews" if happening.merged else "sends"
            return f"{self._sender(happening.queue)} {verb} {message} over {self._link(happening.queue)}"
        if isinstance(happening, Dropped):
            return self._dropped(happening)
        return ""

    def _raised(self, raised: Raised) -> str:
        """Told only where nobody moved for it: else those who heard it tell."""
        heard = any(isinstance(h, Took) and h.heard == raised.signal for h in self._step.happenings)
        return "" if heard else f"nobody reacts to {self._product.signals[raised.signal]}"

    def _dropped(self, dropped: Dropped) -> str:
        message = self._message(dropped.queue, dropped.message)
        return f"{message} is dropped, {self._link(dropped.queue)} {WHY_DROPPED[dropped.why]}"

    def _failure(self) -> str:
        failure = self._step.failure
        assert failure is not None
        return failure.text

    def _movement(self, took: Took) -> str:
        form: ChipForm = self._product.chips[took.chip]
        before, after = form.leaves[took.before], form.leaves[took.after]
        if before == after:
            return f"stays in {before}"
        return f"goes from {before} to {after}"

    def _name(self, chip: int) -> str:
        form = self._product.chips[chip]
        return f"the {form.name}" if form.actor else form.name

    def _link(self, queue: int) -> str:
        return self._product.queues[queue].name

    def _sender(self, queue: int) -> str:
        return self._name(self._product.queues[queue].sender)

    def _message(self, queue: int, code: int, value: int | None = None) -> str:
        message = self._product.queues[queue].messages[code - 1]
        if value is None or message.type is None:
            return message.name
        return f"{message.name}({message.type.spell(value)})"
