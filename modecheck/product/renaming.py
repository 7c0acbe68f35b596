"""A permutation of a product's parts that preserves its steps: its action on states, labels, chips,
failures, conditions and events.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product

Numbers = tuple[int, ...]
"""Number to number: a permutation, or a mapping of conditions, which need not be injective."""


@dataclass(frozen=True)
class Renaming:
    """Field `f` becomes field `fields[f]`; `values[f]`, if not None, gives for each value of field
    `f`, from `lows[f]` on, the value that it becomes. The other parts are permutations of numbers.

    A step of a state by a label becomes a step of the renamed state by the renamed label. Condition
    `c` holds in a state exactly when condition `conditions[c]` holds in the renamed state.
    """

    fields: Numbers
    values: tuple[Numbers | None, ...]
    lows: Numbers
    chips: Numbers
    queues: Numbers
    signals: Numbers
    rules: Numbers
    labels: Numbers
    conditions: Numbers
    events: Numbers
    failures: dict[Failure, Failure]

    @property
    def is_identity(self) -> bool:
        """Whether it leaves every state unchanged."""
        return not self.moved

    @cached_property
    def moved(self) -> frozenset[int]:
        """The fields that move or whose values are exchanged."""
        return frozenset(
            f
            for f, (to, values) in enumerate(zip(self.fields, self.values, strict=True))
            if to != f or values is not None
        )

    @cached_property
    def key(self) -> tuple[object, ...]:
        """What tells two renamings of states apart."""
        return self.fields, self.values

    def value(self, field: int, value: int) -> int:
        """What a value of a field becomes."""
        values = self.values[field]
        return value if values is None else values[value - self.lows[field]]

    def state(self, state: Sequence[int]) -> tuple[int, ...]:
        """The state renamed."""
        result = list(state)
        for field in self.moved:
            result[self.fields[field]] = self.value(field, state[field])
        return tuple(result)

    def failure(self, failure: Failure) -> Failure:
        """The failure renamed."""
        return self.failures.get(failure, failure)

    def after(self, first: Renaming) -> Renaming:
        """The composition: `first`, then this one."""
        return Renaming(
            fields=chained(self.fields, first.fields),
            values=tuple(self._chained_values(first, field) for field in range(len(self.fields))),
            lows=self.lows,
            chips=chained(self.chips, first.chips),
            queues=chained(self.queues, first.queues),
            signals=chained(self.signals, first.signals),
            rules=chained(self.rules, first.rules),
            labels=chained(self.labels, first.labels),
            conditions=chained(self.conditions, first.conditions),
            events=chained(self.events, first.events),
            failures=self._chained_failures(first),
        )

    def _chained_values(self, first: Renaming, field: int) -> Numbers | None:
        between = first.fields[field]
        one, two = first.values[field], self.values[between]
        if one is None:
            return two
        low = self.lows[field]
        both = tuple(self.value(between, value) for value in one)
        return None if both == tuple(range(low, low + len(both))) else both

    def _chained_failures(self, first: Renaming) -> dict[Failure, Failure]:
        every = self.failures.keys() | first.failures.keys()
        return {failure: self.failure(first.failure(failure)) for failure in every}


def chained(second: Numbers, first: Numbers) -> Numbers:
    """The composition: `first`, then `second`."""
    return tuple(second[number] for number in first)


def no_renaming(product: Product) -> Renaming:
    """The identity."""
    return Renaming(
        fields=tuple(range(len(product.fields))),
        values=(None,) * len(product.fields),
        lows=tuple(field.low for field in product.fields),
        chips=tuple(range(len(product.chips))),
        queues=tuple(range(len(product.queues))),
        signals=tuple(range(len(product.signals))),
        rules=tuple(range(len(product.rules))),
        labels=tuple(range(len(product.labels))),
        conditions=tuple(range(len(product.conditions))),
        events=tuple(range(len(product.events))),
        failures={},
    )


def inverse_of(renaming: Renaming) -> Renaming:
    """The inverse of a renaming: its last power before the identity."""
    result = renaming
    while True:
        onward = renaming.after(result)
        if onward.is_identity and not _moves_names(onward):
            return result
        result = onward


def _moves_names(renaming: Renaming) -> bool:
    """Whether something that is in no state is renamed: a rule, a label, a signal."""
    parts = (renaming.chips, renaming.queues, renaming.signals, renaming.rules, renaming.labels)
    return any(part != tuple(range(len(part))) for part in parts)
