"""The plain interpreter without time: what could happen in a state if it were always time for it.

It is the interpreter itself that takes the steps, on a product whose guards say nothing of clocks
and whose clocks may hold marks (`modecheck.engine.zones.zone_clocks`). Steps are grouped by what
time has to say about them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.engine.contract.encounters import BLOCKED, Observed
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.reference.step_draft import StepDraft
from modecheck.engine.zones.zone_clocks import (
    ALWAYS,
    MARK,
    BoundsInForce,
    Clocks,
    NotZonable,
    Running,
)
from modecheck.product.expression_ir import Expression
from modecheck.product.ir import Assign, ChipIR, Product, Reaction, Reception


@dataclass(frozen=True, slots=True)
class Possible:
    """Steps that begin alike, when it is time for them, and what is seen when they are looked at.

    `pressing` says when time cannot go on before one of them has been taken.
    """

    ways: tuple[BoundsInForce, ...]
    steps: tuple[Step, ...]
    pressing: tuple[BoundsInForce, ...]
    observed: Observed


class Untimed(Interpreter):
    """Steps by themselves, without ticks."""

    def __init__(self, product: Product) -> None:
        if product.time is None:
            raise NotZonable("its device has no clock")
        if product.starts:
            raise NotZonable("its device may start in several states")
        if product.observers:
            raise NotZonable("requirements about runs are not followed in zones")
        for chip in product.chips:
            if chip.turn is not None:
                raise NotZonable(f"{chip.name} shares its controller with more urgent activities")
        for queue in product.queues:
            if queue.any_order:
                raise NotZonable(f"messages may overtake each other in {queue.name}")
        self.clocks = Clocks(product, Interpreter(product))
        self._timed = product
        self._time = product.time
        super().__init__(_relaxed_product(product, self.clocks))

    def possible(
        self, state: State, running: tuple[Running, ...], curious: frozenset[int] = frozenset()
    ) -> Iterator[Possible]:
        """What could happen in a discrete state, in the interpreter's order of steps."""
        begun = StepDraft(list(state))
        for number, chip in enumerate(self.product.chips):
            leaf = state[chip.state_field]
            timed = self._timed.chips[number].steps[leaf]
            for relaxed, reaction in zip(chip.steps[leaf], timed, strict=True):
                ways = self.clocks.guard_ways(reaction.guard, state, running)
                if ways:
                    self.observed = Observed(curious=curious)
                    steps = tuple(self._step_if_enabled(begun, number, relaxed))
                    pressing = ways if self._at_once(steps) else ()
                    yield Possible(ways, steps, pressing, self.observed)
                elif reaction.rule in curious and reaction.rooms:
                    held = Observed(shadowed={reaction.rule: BLOCKED})
                    ways = self.clocks.guard_ways(reaction.own_guard, state, running)
                    yield Possible(ways, (), (), held)
        yield from self._arriving(state, running, curious)
        self.observed = Observed(curious=curious)
        yield Possible(ALWAYS, tuple(self._faults(state)), (), self.observed)

    def _at_once(self, steps: tuple[Step, ...]) -> bool:
        return any(step.label in self._time.at_once for step in steps)

    def _arriving(
        self, state: State, running: tuple[Running, ...], curious: frozenset[int]
    ) -> Iterator[Possible]:
        for number, queue in enumerate(self.product.queues):
            age = queue.slots[0].age
            if not state[queue.slots[0].code] or not self._queueing.is_up(number, state):
                continue
            ways: tuple[BoundsInForce, ...] = ALWAYS
            latest: tuple[BoundsInForce, ...] = ()
            if age >= 0:
                ways = self.clocks.when(age, ">=", queue.earliest, state, running)
                if queue.latest >= 0:
                    latest = self.clocks.when(age, "==", queue.latest, state, running)
            self.observed = Observed(curious=curious)
            steps = tuple(self._delivery(state, number))
            pressing = ways if self._at_once(steps) else latest if steps else ()
            yield Possible(ways, steps, pressing, self.observed)

    def pressing(self, state: State, running: tuple[Running, ...]) -> Iterator[BoundsInForce]:
        """When a rule has come to its latest moment."""
        for due in self._time.due:
            yield from self.clocks.condition_ways(due.holds, state, running)


def _relaxed_product(product: Product, clocks: Clocks) -> Product:
    return replace(product, chips=tuple(_relaxed_chip(chip, clocks) for chip in product.chips))


def _relaxed_chip(chip: ChipIR, clocks: Clocks) -> ChipIR:
    return replace(
        chip,
        steps=tuple(
            tuple(_relaxed(reaction, clocks) for reaction in steps) for steps in chip.steps
        ),
        receptions=tuple(
            {key: _relaxed_reception(one, clocks) for key, one in receptions.items()}
            for receptions in chip.receptions
        ),
        hearings=tuple(
            {
                signal: tuple(_relaxed_answer(reaction, clocks) for reaction in reactions)
                for signal, reactions in hearings.items()
            }
            for hearings in chip.hearings
        ),
    )


def _relaxed_reception(reception: Reception, clocks: Clocks) -> Reception:
    reactions = tuple(_relaxed_answer(one, clocks) for one in reception.reactions)
    return replace(reception, reactions=reactions)


def _relaxed_answer(reaction: Reaction, clocks: Clocks) -> Reaction:
    """What answers a message or a signal: which of several does must not depend on time."""
    if any(map(clocks.reads_clock, reaction.conditions)):
        raise NotZonable("a rule for a message or a signal asks for the time")
    return _relaxed(reaction, clocks)


def _relaxed(reaction: Reaction, clocks: Clocks) -> Reaction:
    guard: Expression | None = reaction.guard
    if guard is not None:
        guard = clocks.relaxed(guard)
    assigns = tuple(_with_room(assign, clocks) for assign in reaction.assigns)
    return replace(reaction, guard=guard, assigns=assigns)


def _with_room(assign: Assign, clocks: Clocks) -> Assign:
    """A clock's field may hold a mark."""
    if not any(target.first in clocks.fields for target in assign.targets):
        return assign
    targets = (
        replace(target, high=2 * MARK) if target.first in clocks.fields else target
        for target in assign.targets
    )
    return Assign(tuple(targets), assign.values)
