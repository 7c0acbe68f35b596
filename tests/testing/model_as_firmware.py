"""A chip of any product as an implementation that knows only what an adapter is given."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from modecheck.model.values import ValueType
from modecheck.product.evaluation import Evaluator
from modecheck.product.expression_ir import Expression
from modecheck.product.ir import Product, Reaction
from modecheck.testing import (
    Delivery,
    Event,
    InternalStep,
    Output,
    Restart,
    Sent,
    Sight,
    Signal,
    Signalled,
    TimerExpired,
    Value,
)
from modecheck.testing.adapter import plain_value

NOWHERE = -1_000_000
"""What a chip reads of others before it was shown; in no range."""


class ModelAsFirmware:
    """Does what its chip's reactions say. `spoil` may change one before it is taken."""

    def __init__(
        self,
        product: Product,
        chip: str,
        spoil: Callable[[Reaction], Reaction] = lambda reaction: reaction,
    ) -> None:
        self._product = product
        self._number = [form.name for form in product.chips].index(chip)
        self._form = product.chips[self._number]
        self._evaluator = Evaluator(product)
        self._fields = {field.name: n for n, field in enumerate(product.fields)}
        self._spoil = spoil
        self._made: list[Output] = []
        self.reset()

    def reset(self) -> None:
        self._now = [
            start if field.owner == self._number else NOWHERE
            for field, start in zip(self._product.fields, self._product.initial, strict=True)
        ]
        self._made = []

    def outputs(self) -> list[Output]:
        made, self._made = self._made, []
        return made

    def state(self) -> tuple[str, dict[str, object]]:
        leaf = self._form.leaves[self._leaf]
        held: dict[str, object] = {}
        for variable in self._product.device.chips[self._form.name].variables.values():
            name = f"{self._form.name}.{variable.name}"
            names = [f"{name}[{n}]" for n in range(variable.length)] or [name]
            values = [plain_value(variable.type, self._now[self._fields[one]]) for one in names]
            held[variable.name] = values if variable.length else values[0]
        return leaf, held

    @property
    def _leaf(self) -> int:
        return self._now[self._form.state_field]

    def give(self, event: Event) -> None:
        match event:
            case Sight(name, value):
                self._see(name, value)
            case Delivery():
                self._receive(event)
            case Signal(name, value):
                number = self._product.signals.index(name)
                payload = _number(self._product.signal_types[number], value)
                self._first(self._form.hearings[self._leaf].get(number, ()), payload, 0)
            case TimerExpired(rule, state) | InternalStep(rule, state):
                assert state == self._form.leaves[self._leaf]
                own = self._form.steps[self._leaf]
                self._react(next(r for r in own if self._product.rules[r.rule].title == rule), 0, 0)
            case Restart():
                self._now[self._form.state_field] = self._form.initial
                for where, start in self._form.restarts[0]:
                    self._now[where] = start

    def _see(self, name: str, value: Value | tuple[str, ...]) -> None:
        if isinstance(value, tuple):
            queue = next(q for q in self._product.queues if f"{q.name}.waiting" == name)
            codes = [[m.name for m in queue.messages].index(word) + 1 for word in value]
            for slot, code in zip(queue.slots, [*codes, *[0] * len(queue.slots)], strict=False):
                self._now[slot.code] = code
            return
        field = self._product.fields[self._fields[name]]
        owner = self._product.chips[field.owner]
        assert owner is not self._form
        if self._fields[name] == owner.state_field:
            number = owner.leaves.index(str(value))
        else:
            number = _number(field.type, value)
        self._now[self._fields[name]] = number

    def _receive(self, event: Delivery) -> None:
        number = next(n for n, q in enumerate(self._product.queues) if q.name == event.link)
        messages = self._product.queues[number].messages
        code = next(n for n, m in enumerate(messages, start=1) if m.name == event.message)
        reactions = self._form.receptions[self._leaf][number, code].reactions
        payload = _number(messages[code - 1].type, event.value)
        self._first(reactions, payload, int(event.late))

    def _first(self, reactions: Iterable[Reaction], payload: int, late: int) -> None:
        for reaction in reactions:
            if reaction.guard is None or self._value(reaction.guard, payload, late):
                self._react(reaction, payload, late)
                return

    def _value(self, expression: Expression, payload: int, late: int) -> int:
        function = self._evaluator.function(expression, self._number)
        return int(function(self._now, self._now, payload, late))

    def _react(self, reaction: Reaction, payload: int, late: int) -> None:
        reaction = self._spoil(reaction)
        for assign in reaction.assigns:
            values = [self._value(value, payload, late) for value in assign.values]
            places = [
                target.first
                + (0 if target.index is None else self._value(target.index, payload, late))
                for target in assign.targets
            ]
            for place, value in zip(places, values, strict=True):
                self._now[place] = value
        for send in reaction.sends:
            queue = self._product.queues[send.queue]
            message = queue.messages[send.message - 1]
            value = 0 if send.value is None else self._value(send.value, payload, late)
            self._made.append(Sent(message.name, plain_value(message.type, value), queue.name))
        for given in reaction.signalled:
            type_ = self._product.signal_types[given.signal]
            value = 0 if given.value is None else self._value(given.value, payload, late)
            name = self._product.signals[given.signal]
            self._made.append(Signalled(name, plain_value(type_, value)))
        if reaction.enters >= 0:
            self._now[self._form.state_field] = reaction.enters


def _number(type_: ValueType | None, value: Value) -> int:
    """The number by which a model knows a value."""
    if isinstance(value, str):
        assert type_ is not None
        number = type_.value_of(value)
        assert number is not None
        return number
    return int(value or 0)
