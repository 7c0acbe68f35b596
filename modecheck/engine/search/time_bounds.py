"""How long it takes from a state until another is reached: at least, and at most, in ticks.

A stretch goes through states of a region and ends with a step to a goal outside of it. A tick
weighs 1, every other step nothing. The least weight is a shortest path, found backwards from the
goals. For the greatest one the region falls into its strongly connected components (Tarjan 1972).
A component in which a tick lies can be gone round for ever; one without is left at the moment at
which it was entered, so that all of its states have the same greatest weight. Between components
there are no cycles, and Tarjan's search ends with a component only after all those behind it: the
greatest weight of a component is that of its best way out, taken in this order. All of it takes
time linear in the number of transitions.

Where nothing that counts time goes on any more, a tick would change nothing and is no step of the
product, yet time passes: such a state `stands`, and can be stayed in for ever. It does not where
something has to happen before time goes on, as `modecheck.engine.reference.plain` says of ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from modecheck.engine.contract.space import Space
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Read
from modecheck.product.ir import Product
from modecheck.product.lowering import folded
from modecheck.product.state_conditions import moments_due

FOREVER = (1 << 31) - 1
"""Longer than any number of ticks."""
NEVER = -1
"""No stretch from here comes to a goal."""

OTHER, REGION, GOAL = 0, 1, 2
"""Kinds of states."""

DUE, HELD = "due", "held:"
"""Conditions of a product that is asked for times: a rule is at its latest moment; the head of a
link, by its name, is."""


@dataclass(frozen=True, slots=True)
class TimeBoundQuery:
    """Stretches through states with all marks of `inside` and none of `outside`, to a state outside
    of these with one of the marks of `goal` (any such state, if that is 0).

    They have no step with a label in `barred`, and the longest ones none with a label in `actors`.
    With `endless` those that never come to a goal count among the longest ones.

    A stretch begins behind a step that leaves `before` (marks; 0 for whatever is no region), or on
    the way behind a step of `actors`: the longest behind any, the shortest behind one without which
    it could not come to a goal. With `straight` it may come to the goal at once. With `asked` it
    begins behind such a step of `actors` alone, in the states of `before` that are of the region
    or on the way.
    """

    inside: int
    outside: int
    goal: int
    barred: frozenset[int]
    before: int = 0
    actors: frozenset[int] = frozenset()
    endless: bool = False
    straight: bool = False
    asked: bool = False

    @property
    def barred_for_longest(self) -> frozenset[int]:
        """The labels that the longest stretches do not have."""
        return self.barred | self.actors


@dataclass(frozen=True, slots=True)
class Start:
    """The step with which a stretch begins, and how many ticks it has. `source` is -1 where it
    begins in a state in which the device may begin, without a step.
    """

    ticks: int
    source: int
    label: int
    target: int


@dataclass(frozen=True, slots=True)
class TimeBounds:
    """For each state its kind, the least and the greatest number of ticks to a goal, its component
    and whether it `stands`; and the stretches that take the least and the longest time.
    """

    kinds: Sequence[int]
    best: Sequence[int]
    worst: Sequence[int]
    components: Sequence[int]
    stands: Sequence[int]
    shortest: Start | None
    longest: Start | None


def with_moments(product: Product) -> Product:
    """The product with the conditions that tell whether time can pass in a state."""
    time = product.time
    assert time is not None, "only time that is counted can be asked for"
    conditions = product.conditions | moments_due(time)
    for queue in product.queues:
        head = queue.slots[0]
        if queue.latest >= 0 and head.age >= 0:
            waits = ApplyIR("!=", (Read(head.code), ConstantIR(0)))
            late = ApplyIR("==", (Read(head.age), ConstantIR(queue.latest)))
            conditions[HELD + queue.name] = folded("and", (waits, late))
    return replace(product, conditions=conditions)


@dataclass(frozen=True, slots=True)
class TickLabels:
    """By label: whether it is a tick, whether time waits for it, and whether it waits where a state
    has one of these marks.
    """

    tick: Sequence[bool]
    at_once: Sequence[bool]
    held: Sequence[int]
    due: int

    @classmethod
    def of(cls, space: Space) -> TickLabels:
        product = space.product
        time = product.time
        assert time is not None
        held = []
        for label in product.labels:
            name = product.queues[label.queue].name if label.queue >= 0 else ""
            known = label.kind in ("deliver", "discard") and HELD + name in product.conditions
            held.append(space.mark(HELD + name) if known else 0)
        return cls(
            tick=[number == time.label for number in range(len(product.labels))],
            at_once=[number in time.at_once for number in range(len(product.labels))],
            held=held,
            due=space.mark(DUE) if DUE in product.conditions else 0,
        )
