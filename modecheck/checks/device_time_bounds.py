"""How long mode switches, responses and reconnections take, at least and at most.

A switch begins when the device leaves a mode and ends when it enters another one; a reconnection
begins when the session of a pairing (or, without one, its bond) is lost and ends when it is there
again. Both may wait for a person, and the time that a person takes is not the device's time. So the
clock of the worst time restarts with each step of an actor, and only a stretch that ends without
another one counts: it is how long the device takes once people stop acting. The best time assumes
people who are as quick as possible; its clock restarts only with a step of an actor without which
the device would never have got there.

The best time of a switch is the one that its user measures. Its clock starts with the step of an
actor that requests it: one, in the mode or between the modes, before which the device could not
have got there without another step of an actor, whatever it did by itself and without a fault.
So it includes the time that the device takes to leave the mode. Where no such step leads to a
switch, its clock starts when the mode is left, as that of the worst time does.

A response is timed as `within` does: from the oldest moment at which it is due, whatever actors do,
until it occurs; one that occurs at that moment does not wait. A response that never occurs takes
forever.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product as product_of

from modecheck.checks.judged import up_to_failures
from modecheck.checks.together import explored_together
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits, Space
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.search.time_bound_paths import TimedPath, TimedPathFinder
from modecheck.engine.search.time_bound_search import time_bounds_of
from modecheck.engine.search.time_bounds import (
    FOREVER,
    TimeBoundQuery,
    TimeBounds,
    with_moments,
)
from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Read
from modecheck.product.ir import Product
from modecheck.product.lowering import folded
from modecheck.product.observers import automaton_for
from modecheck.scenario.traces import Trace, moves_along, without_observers

Answering = Callable[[TimeBoundQuery], TimeBounds | None]
FAULTS = ("lose", "duplicate", "corrupt", "power_cut", "reset", "cut_in_rule")
"""Kinds of labels that no chip and no actor causes."""
SWITCH, RESPONSE, RECONNECTION = "switch", "response", "reconnection"


@dataclass(frozen=True, slots=True)
class MeasuredTime:
    """A stretch in ticks, None where it can take forever. Its clock starts when the first
    `trace.switch_from` moves are done. It `stands` where time can go on forever at its end
    because nothing has to happen; else `trace.loop_from` says where a loop begins.
    """

    ticks: int | None
    trace: Trace
    stands: bool = False


@dataclass(frozen=True, slots=True)
class Timed:
    """The best and the worst time of one switch, response or reconnection; None where no stretch
    was seen. `limit` is the time that a requirement allows, in ticks. Unless `complete`, the best
    may be less and the worst more.
    """

    kind: str
    name: str
    source: str
    target: str
    best: MeasuredTime | None
    worst: MeasuredTime | None
    complete: bool
    stopped_by: str = ""
    limit: int | None = None
    remark: str = ""
    asked: bool = False
    """Whether the clock of the best time starts with a step that requests the switch."""

    @property
    def title(self) -> str:
        """What is timed, in a few words, such as "wired to radio"."""
        return f"{self.source} to {self.target}" if self.kind == SWITCH else self.name

    @property
    def silent(self) -> bool:
        """Whether nothing was seen of it before a bound was hit."""
        return not self.complete and self.best is None and self.worst is None

    @property
    def exceeded(self) -> bool:
        """Whether it can take longer than a requirement allows."""
        worst = None if self.worst is None else self.worst.ticks
        return (
            self.limit is not None
            and self.worst is not None
            and (worst is None or worst > self.limit)
        )


@dataclass(frozen=True, slots=True)
class DeviceTimes:
    """All times of a device, with the product that their scenarios belong to."""

    product: Product
    timed: tuple[Timed, ...]
    states: int

    @property
    def complete(self) -> bool:
        return all(one.complete for one in self.timed)

    @property
    def tick(self) -> Fraction:
        """The seconds of a tick."""
        assert self.product.device.clock is not None
        return self.product.device.clock.tick


def times_of(device: Device, search: Search, reporter: Reporter | None = None) -> DeviceTimes:
    """The times of a device. A bound in seconds bounds the whole search; times not computed by then
    are incomplete. Raises `InvalidInput` where the device has no clock.
    """
    if device.clock is None:
        message = "time is not counted: the device has no clock"
        expected = "a 'clock' in the device, such as {tick: 1 ms}"
        raise InvalidInput([InputError(message, device.place, expected=expected)])
    search = replace(search, limits=search.limits.from_now())
    product = compose(device)
    space = explore_with(_with_pairings(with_moments(product)), search, reporter)
    timed = [*_switches(space, search.limits), *_reconnections(space, search.limits)]
    responses = _Responses(product, space.state_count, search, reporter).all()
    order = (SWITCH, RESPONSE, RECONNECTION)
    every = sorted([*timed, *responses], key=lambda one: order.index(one.kind))
    return DeviceTimes(product, tuple(every), space.state_count)


def _with_pairings(product: Product) -> Product:
    """The product with a condition `together:NAME` for each pairing that works."""
    conditions = dict(product.conditions)
    for name in product.device.pairings:
        apart = conditions.get(f"apart:{name}")
        works = conditions[f"paired:{name}"] if apart is None else folded("not", (apart,))
        conditions[f"together:{name}"] = works
    return replace(product, conditions=conditions)


def actors_labels(product: Product) -> frozenset[int]:
    """The labels of steps that actors take."""
    return frozenset(
        number
        for number, label in enumerate(product.labels)
        if label.kind == "rule" and product.chips[label.chip].actor
    )


def _switches(space: Space, limits: Limits) -> list[Timed]:
    """Every ordered pair of modes, with the switch that passes through no other mode. Pairs with
    one target are queried in a row, and then those with one source, since they share a region.
    """
    modes = list(space.product.device.modes)
    bits = {name: space.mark(f"mode:{name}") for name in modes}
    every = sum(bits.values())
    answer = time_bounds_of(space)
    found = {}
    for target, source in product_of(modes, modes):
        if source == target:
            continue
        query = _unaided(space, bits[source], every, bits[target])
        asked = _asked(space, space.product, query, answer, limits)
        found[source, target] = asked.timed(SWITCH, f"{source}->{target}", source, target)
    for pair in product_of(modes, modes):
        if pair in found and found[pair].best is not None:
            query = _asking(space, bits[pair[0]], every, bits[pair[1]])
            asked = _asked(space, space.product, query, answer, limits)
            found[pair] = asked.as_asked(found[pair])
    return [found[pair] for pair in product_of(modes, modes) if pair in found]


def _reconnections(space: Space, limits: Limits) -> Iterator[Timed]:
    answer = time_bounds_of(space)
    for name in space.product.device.pairings:
        works = space.mark(f"together:{name}")
        query = _unaided(space, works, works, works)
        asked = _asked(space, space.product, query, answer, limits)
        yield asked.timed(RECONNECTION, name, name, name)


def _unaided(space: Space, before: int, outside: int, goal: int) -> TimeBoundQuery:
    """Stretches of which the longest has no step of an actor, and restarts after each."""
    return TimeBoundQuery(
        inside=0,
        outside=outside,
        goal=goal,
        barred=frozenset(),
        before=before,
        actors=actors_labels(space.product),
        straight=True,
    )


def _asking(space: Space, source: int, every: int, goal: int) -> TimeBoundQuery:
    """Stretches from a step of an actor that requests a switch, through the mode that is left."""
    labels = enumerate(space.product.labels)
    return TimeBoundQuery(
        inside=0,
        outside=every & ~source,
        goal=goal,
        barred=frozenset(number for number, label in labels if label.kind in FAULTS),
        before=source,
        actors=actors_labels(space.product),
        straight=True,
        asked=True,
    )


class _Responses:
    """The response times of requirements, without their limits: several in one exploration, unless
    it turns out much larger than the product.
    """

    def __init__(
        self, product: Product, states: int, search: Search, reporter: Reporter | None
    ) -> None:
        self._product = product
        needs = {n: replace(r, within=None) for n, r in product.device.requirements.items()}
        self._device = replace(product.device, requirements=needs)
        self._states = states
        self._search = replace(search, expected=states)
        self._reporter = reporter

    def all(self) -> Iterator[Timed]:
        needs = [need for need in self._device.requirements.values() if need.pattern == "whenever"]
        together = explored_together(needs, self._states, self._search, self._explored)
        for need, space in together:
            yield self._timed(space or self._explored([need], self._search), need)

    def _explored(self, needs: Sequence[Requirement], search: Search) -> Space:
        product = compose(self._device, observers=[need.name for need in needs])
        conditions = dict(product.conditions)
        for need, observer in zip(needs, product.observers, strict=True):
            counting = sorted(automaton_for(self._device, need).counting)
            waits = (ApplyIR("==", (Read(observer.field), ConstantIR(state))) for state in counting)
            conditions[f"waiting:{need.name}"] = folded("or", tuple(waits))
        timed = with_moments(replace(product, conditions=conditions))
        return explore_with(timed, search, self._reporter)

    def _timed(self, space: Space, need: Requirement) -> Timed:
        idling = frozenset({space.product.idle_label})
        query = TimeBoundQuery(space.mark(f"waiting:{need.name}"), 0, 0, idling, endless=True)
        names = (need.name, need.text, need.response_text)
        asked = _asked(space, self._product, query, time_bounds_of(space), self._search.limits)
        timed = asked.timed(RESPONSE, *names)
        within = self._product.device.requirements[need.name].within
        clock = self._product.device.clock
        if within is None or clock is None:
            return timed
        return replace(timed, limit=clock.ticks(within.low))


@dataclass(frozen=True, slots=True)
class _TimeQuery:
    """A query with its answer, over a space of the product or of one with observers."""

    space: Space
    product: Product
    query: TimeBoundQuery
    found: TimeBounds | None
    stopped_by: str

    def timed(self, kind: str, name: str, source: str, target: str) -> Timed:
        space, found = self.space, self.found
        best = worst = None
        if found is not None:
            finder = TimedPathFinder(space, self.query, found)
            stretches = finder.shortest(), finder.longest()
            best, worst = (_measured(space, self.product, one) for one in stretches)
        remark, why = up_to_failures(space), self.stopped_by
        complete = space.complete and found is not None
        return Timed(kind, name, source, target, best, worst, complete, why, remark=remark)

    def as_asked(self, timed: Timed) -> Timed:
        """A switch with the best time from a step that requests it, if there is one."""
        if self.found is None:
            return replace(timed, complete=False, stopped_by=self.stopped_by)
        shortest = TimedPathFinder(self.space, self.query, self.found).shortest()
        if shortest is None:
            return timed
        best = _measured(self.space, self.product, shortest)
        return replace(timed, best=best, asked=True)


def _asked(
    space: Space, product: Product, query: TimeBoundQuery, answer: Answering, limits: Limits
) -> _TimeQuery:
    """The query with its answer, if there is time left for one."""
    if limits.time_is_up:
        return _TimeQuery(space, product, query, None, limits.reached_seconds)
    found = answer(query)
    why = space.stopped_by or ("" if found is not None else "lack of memory")
    return _TimeQuery(space, product, query, found, why)


def _measured(space: Space, product: Product, stretch: TimedPath | None) -> MeasuredTime | None:
    if stretch is None:
        return None
    start = stretch.start
    if start.source >= 0:
        before = [*space.path_to(start.source), (start.label, start.target)]
    else:
        before = space.path_to(start.target)
    loop_from = 0 if stretch.loop_from < 0 else len(before) + stretch.loop_from + 1
    moves = moves_along(space, [*before, *stretch.steps])
    trace = Trace(space.product, moves, switch_from=len(before), loop_from=loop_from)
    ticks = None if start.ticks == FOREVER else start.ticks
    if space.product.observers:
        trace = without_observers(product, trace)
    return MeasuredTime(ticks, trace, stretch.stands)
