"""Which fields hold names, whose values may be exchanged for one another, and which hold numbers.

Values of fields that are only copied and compared with each other are names: any bijection of them
gives the same behaviour (the scalar sets of Ip and Dill, Better verification through symmetry,
Formal Methods in System Design 9, 1996, found here instead of declared). Where values are ordered,
added, used as an index or as a truth value, they are numbers and keep their values.
"""

from __future__ import annotations

from collections.abc import Iterable

from modecheck.product.expression_ir import (
    ApplyIR,
    ConstantIR,
    Expression,
    PayloadIR,
    Read,
    ReadItem,
)
from modecheck.product.ir import Assign, Product, Queue, Reaction
from modecheck.product.subexpressions import fields_written

NUMBER = -1
"""The sort of values that are numbers, and so cannot be exchanged for one another."""
EQUALITIES = ("==", "!=")
MOST_NAMES = 1_000
"""Values of a field that are still taken for names: nobody names more, and each is an atom."""


class ValueSorts:
    """The sorts of a product's fields: fields that exchange values with each other share one."""

    def __init__(self, product: Product) -> None:
        self._parents = list(range(len(product.fields) + len(product.signals)))
        self._numbers: set[int] = set()
        self._long_ranges(product)
        for link in product.queues:
            self._queue(link)
        for fault in product.faults:
            for left in fault.counts:
                self._fix(left)
        if product.idle_field >= 0:
            self._fix(product.idle_field)
        if product.time is not None:
            self._truths(due.holds for due in product.time.due)
            self._truths(ticking.runs for ticking in product.time.tickings)
            for ticking in product.time.tickings:
                self._fix(ticking.field)
        for observer in product.observers:
            self._fix(observer.field)
            self._truths(observer.atoms)
        self._truths(product.conditions.values())
        self._chips(product)

    def _long_ranges(self, product: Product) -> None:
        """Fields, and what stands for the values of signals, with too many values for names."""
        lengths = [field.high - field.low for field in product.fields]
        lengths += [0 if one is None else one.high - one.low for one in product.signal_types]
        for number, length in enumerate(lengths):
            if length >= MOST_NAMES:
                self._fix(number)

    def _chips(self, product: Product) -> None:
        for chip in product.chips:
            self._truths([chip.turn] if chip.turn is not None else [])
            for reactions in chip.steps:
                self._reactions(reactions, product, NUMBER)
            for receptions in chip.receptions:
                for (queue, _), reception in receptions.items():
                    self._reactions(reception.reactions, product, payload_of(product, queue))
            for hearings in chip.hearings:
                for signal, reactions in hearings.items():
                    self._reactions(reactions, product, value_heard(product, signal))

    def of_field(self, field: int) -> int:
        """The sort of a field, or of what stands for the value of a signal, represented by one of
        those that share it; or `NUMBER`.
        """
        root = self._root(field)
        return NUMBER if root in self._numbers else root

    def of(self, expression: Expression, payload: int) -> int | None:
        """The sort of an expression's value; None for constants, which fit any sort. `payload` is
        the field that holds the value of the message being delivered, what stands for that of the
        signal being heard, or `NUMBER`.
        """
        if isinstance(expression, ConstantIR):
            return None
        if isinstance(expression, Read):
            return self.of_field(expression.field)
        if isinstance(expression, ReadItem):
            return self.of_field(expression.first)
        if isinstance(expression, PayloadIR):
            return NUMBER if payload == NUMBER else self.of_field(payload)
        if isinstance(expression, ApplyIR) and expression.operator == "if":
            return self.common(expression.arguments[1:], payload)
        return NUMBER

    def common(self, expressions: Iterable[Expression], payload: int) -> int | None:
        """The sort that some expressions share."""
        sorts = (self.of(expression, payload) for expression in expressions)
        return next((sort for sort in sorts if sort is not None), None)

    def _root(self, field: int) -> int:
        while self._parents[field] != field:
            self._parents[field] = self._parents[self._parents[field]]
            field = self._parents[field]
        return field

    def _fix(self, sort: int | None) -> None:
        if sort is not None and sort != NUMBER:
            self._numbers.add(self._root(sort))

    def _join(self, sorts: Iterable[int | None]) -> int | None:
        known = [sort for sort in sorts if sort is not None]
        if NUMBER in known:
            for sort in known:
                self._fix(sort)
            return NUMBER
        for sort in known[1:]:
            one, two = self._root(known[0]), self._root(sort)
            self._parents[two] = one
            if two in self._numbers:
                self._numbers.add(one)
        return known[0] if known else None

    def _queue(self, queue: Queue) -> None:
        self._join(slot.code for slot in queue.slots)
        self._join(slot.value for slot in queue.slots if slot.value >= 0)
        for slot in queue.slots:
            self._fix(slot.late)
            self._fix(slot.age)
            # What waits in any order is kept in the order of codes and values.
            if queue.any_order or any(one.kind == "relative" for one in queue.messages):
                self._fix(slot.value)
            if queue.any_order:
                self._fix(slot.code)
        if queue.up is not None:
            self._truths([queue.up])

    def _truths(self, expressions: Iterable[Expression]) -> None:
        for expression in expressions:
            self._fix(self._walk(expression, NUMBER))

    def _reactions(self, reactions: Iterable[Reaction], product: Product, payload: int) -> None:
        for reaction in reactions:
            for condition in reaction.conditions:
                self._fix(self._walk(condition, payload))
            for assign in reaction.assigns:
                self._assign(assign, payload)
            for send in reaction.sends:
                if send.value is not None:
                    sent = self._walk(send.value, payload)
                    self._join([payload_of(product, send.queue), sent])
            for given in reaction.signalled:
                if given.value is not None:
                    value = self._walk(given.value, payload)
                    self._join([value_heard(product, given.signal), value])

    def _assign(self, assign: Assign, payload: int) -> None:
        for target, value in zip(assign.targets, assign.values, strict=True):
            if target.index is not None:
                self._fix(self._walk(target.index, payload))
            self._join([*fields_written(target), self._walk(value, payload)])

    def _walk(self, expression: Expression, payload: int) -> int | None:
        """The sort of an expression's value, and what its parts tell of the sorts of fields."""
        if isinstance(expression, ConstantIR):
            return None
        if isinstance(expression, Read):
            return expression.field
        if isinstance(expression, PayloadIR):
            return payload
        if isinstance(expression, ReadItem):
            self._fix(self._walk(expression.index, payload))
            return self._join(range(expression.first, expression.first + expression.length))
        if isinstance(expression, ApplyIR):
            return self._operator(expression, payload)
        return NUMBER

    def _operator(self, expression: ApplyIR, payload: int) -> int | None:
        sorts = [self._walk(argument, payload) for argument in expression.arguments]
        if expression.operator == "if":
            self._fix(sorts[0])
            return self._join(sorts[1:])
        if expression.operator in EQUALITIES:
            self._join(sorts)
        else:
            for sort in sorts:
                self._fix(sort)
        return NUMBER


def payload_of(product: Product, queue: int) -> int:
    """The field that holds the value of a queue's head, or `NUMBER`."""
    value = product.queues[queue].slots[0].value
    return value if value >= 0 else NUMBER


def value_heard(product: Product, signal: int) -> int:
    """A number that no field has, for the value of a signal; or `NUMBER` if it carries none."""
    return NUMBER if product.signal_types[signal] is None else len(product.fields) + signal
