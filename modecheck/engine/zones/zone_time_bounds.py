"""The best and the worst time of a stretch: from where one condition comes true to another.

A clock of its own is set to 0 where a stretch begins. What zones forget beyond its most would be
lost, so the most is raised until every time is below it; a time without bound is told by a way that
bounds none, or by a loop that takes time and comes back to the same zone. Times are whole ticks, as
those of digital clocks are.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from modecheck.engine.exploration import Reporter, Silent
from modecheck.engine.plain import Interpreter, State, Step
from modecheck.engine.space import Limits
from modecheck.engine.zones import dbm
from modecheck.engine.zones.dbm import Zone
from modecheck.engine.zones.runs import Run, Runner
from modecheck.engine.zones.schedules import Schedule, schedule_to
from modecheck.engine.zones.time_elapse import Situation
from modecheck.engine.zones.zone_clocks import BoundsInForce, NotZonable
from modecheck.engine.zones.zone_exploration import ZoneExplorer, ZoneGraph
from modecheck.product.ir import ApplyIR, ConstantIR, Expression, Field, Product, Read, Ticking

FIRST_TICKS = 16
"""Measured at first: a loop that takes time and can be gone round for ever is then found early."""
MOST_ZONES = 100_000
"""Where no bound is given: a minute or so."""
MOST_SHOWN_TO_REPEAT = 50
"""Ends beyond what is measured, the first ones, behind which a loop is looked for."""
MOST_TICKS = 1 << 38
"""Longer stretches are not measured: eight years of ticks of 1 ms."""


@dataclass(frozen=True, slots=True)
class WitnessedTime:
    """A time in ticks with a run in which it is taken: the first `begins` moves lead to where the
    stretch begins, the last one ends it.
    """

    ticks: int
    run: Run
    begins: int


@dataclass(frozen=True, slots=True)
class ZoneTimeBounds:
    """What was measured of the stretches that end; `best` is None where none does.

    `worst` is None where none does, and where there is no bound; then `unbounded` is a run of some
    length that can be longer by any time, since a state of it can last, or a loop can be repeated.
    With `stopped_by` neither the best nor the worst is known, but what there is was found.
    """

    best: WitnessedTime | None
    worst: WitnessedTime | None
    unbounded: WitnessedTime | None = None
    stopped_by: str = ""


@dataclass(frozen=True, slots=True)
class _End:
    """A step that ends a stretch: from a node, at moments within bounds, to a state."""

    node: int
    way: BoundsInForce
    label: int
    after: State
    low: int
    high: int | None


def times_between(
    product: Product,
    begin: Expression,
    end: Expression,
    *,
    limits: Limits | None = None,
    reporter: Reporter | None = None,
) -> ZoneTimeBounds:
    """The best and the worst time from `begin` to `end`, conditions on states that read no clock.

    A stretch begins with a step from a state without `begin` into one with it, or at the start, and
    ends with the first state from there on in which `end` holds, which may be the same. While one
    goes on no other begins. Runs that never come to an end are not measured. Raises `NotZonable`.
    """
    if product.time is None:
        raise NotZonable("its device has no clock")
    bounds, most = limits or Limits(), FIRST_TICKS
    if bounds.states is None:
        bounds = replace(bounds, states=MOST_ZONES)
    bounds = replace(bounds, since=time.monotonic() if bounds.since is None else bounds.since)
    while True:
        measure = _Measure(product, begin, end, most)
        measuring = _Measuring(product, measure, bounds, reporter or Silent())
        times = measuring.times()
        if times is not None:
            return times
        most *= 2
        if most > MOST_TICKS:
            return ZoneTimeBounds(None, None, stopped_by=f"the bound of {MOST_TICKS:,} ticks")


class _Measure:
    """A product with two fields more: whether a stretch goes on, and for how many ticks."""

    def __init__(self, product: Product, begin: Expression, end: Expression, most: int) -> None:
        assert product.time is not None
        self.goes_on, self.count, self.most = len(product.fields), len(product.fields) + 1, most
        self._begin, self._end = begin, end
        self._interpreter = Interpreter(product)
        self.at_once = self.begins(product.initial) and self.ends(product.initial)
        start = int(self.begins(product.initial) and not self.at_once)
        runs = ApplyIR("==", (Read(self.goes_on), ConstantIR(1)))
        ticking = Ticking(self.count, runs, most + 1, most + 1, (most + 1,))
        fields = (Field("stretch", 0, 1, start), Field("ticks of the stretch", 0, most + 1, 0))
        self.product = replace(
            product,
            fields=(*product.fields, *fields),
            time=replace(product.time, tickings=(*product.time.tickings, ticking)),
        )

    def begins(self, state: State) -> bool:
        return self._interpreter.condition(self._begin, state)

    def ends(self, state: State) -> bool:
        return self._interpreter.condition(self._end, state)


class _Measuring(ZoneExplorer):
    """Explores, and notes every end of a stretch."""

    def __init__(
        self, product: Product, measure: _Measure, limits: Limits, reporter: Reporter
    ) -> None:
        super().__init__(measure.product, limits, reporter)
        self._plain = product
        self._measure = measure
        self._ends: list[_End] = []

    def _arranged(
        self, number: int, before: Situation, step: Step, way: BoundsInForce, zone: Zone
    ) -> State:
        measure = self._measure
        assert step.after is not None
        after = list(step.after)
        ends = measure.ends(step.after)
        begins = measure.begins(step.after) and not measure.begins(before.state)
        if before.state[measure.goes_on] and ends:
            index = before.index(measure.count)
            low, high = zone[index], zone[index * before.n]
            longest = None if high == dbm.UNBOUNDED else dbm.ticks_of(high)
            self._ends.append(
                _End(number, way, step.label, step.after, -dbm.ticks_of(low), longest)
            )
            after[measure.goes_on] = after[measure.count] = 0
        if begins and ends:
            self._ends.append(_End(number, way, step.label, step.after, 0, 0))
        elif begins and not after[measure.goes_on]:
            after[measure.goes_on], after[measure.count] = 1, 0
        return tuple(after)

    def times(self) -> ZoneTimeBounds | None:
        """What was measured, or None where more has to be."""
        graph, most = self.run(), self._measure.most
        if graph.stopped_by:
            return ZoneTimeBounds(None, None, stopped_by=graph.stopped_by)
        if self._measure.at_once:
            self._ends.append(_End(0, (), -1, self._plain.initial, 0, 0))
        if not self._ends:
            return ZoneTimeBounds(None, None)
        best = min(self._ends, key=lambda end: end.low)
        if best.low > most:
            return None
        beyond = [end for end in self._ends if end.high is None or end.high > most]
        if not beyond:
            worst = max(self._ends, key=lambda end: end.high or 0)
            return ZoneTimeBounds(
                self._measured(best, best.low), self._measured(worst, worst.high or 0)
            )
        for end in beyond[:MOST_SHOWN_TO_REPEAT]:
            longest = self._longest(end)
            if longest is None or self._repeats(end):
                shown = self._measured(end, self._more_than(end, most, longest))
                return ZoneTimeBounds(self._measured(best, best.low), None, unbounded=shown)
        return None

    def _begin_in(self, trail: Sequence[int], end: _End) -> int:
        """The moment, as a place in a trail, at which the stretch begins that ends behind it."""
        if (end.low, end.high) == (0, 0) and not self._goes_on(trail[-1]):
            return len(trail)  # with the step that ends it
        place = len(trail) - 1
        while place and self._goes_on(trail[place - 1]):
            place -= 1
        return place

    def _goes_on(self, number: int) -> bool:
        return bool(self.graph.nodes[number].situation.state[self._measure.goes_on])

    def _schedule(self, end: _End) -> Schedule:
        return schedule_to(self.graph, end.node, end.way)

    def _longest(self, end: _End) -> int | None:
        """The most ticks of a stretch on the way to an end; None for any number."""
        schedule = self._schedule(end)
        begin = self._begin_in(schedule.trail, end)
        return schedule.most_between(begin, schedule.moments - 1)

    def _more_than(self, end: _End, ticks: int, longest: int | None) -> int:
        """The least time beyond some ticks that the way to an end can take, or its longest."""
        schedule = self._schedule(end)
        begin = self._begin_in(schedule.trail, end)
        least = schedule.least_between(begin, schedule.moments - 1)
        return max(least, ticks + 1 if longest is None else min(longest, ticks + 1))

    def _repeats(self, end: _End) -> bool:
        """Whether the stretch goes round a loop that takes time, back to the same zone: each moment
        of it is then behind any number of rounds.
        """
        schedule = self._schedule(end)
        trail = schedule.trail
        begin = self._begin_in(trail, end)
        return any(
            self.without_count(trail[one]) == self.without_count(trail[other])
            and schedule.least_between(one, other) > 0
            for one, other in _apart(begin, len(trail))
        )

    def without_count(self, number: int) -> tuple[State, Zone]:
        """A node, but for how long the stretch goes on."""
        node = self.graph.nodes[number]
        situation = node.situation
        own = situation.index(self._measure.count)
        sources = [(index, 0) for index in range(1, situation.n) if index != own]
        return situation.state, dbm.rearranged(node.zone, situation.n, sources)

    def _measured(self, end: _End, ticks: int) -> WitnessedTime:
        if end.label < 0:
            return WitnessedTime(0, [], 0)
        schedule = self._schedule(end)
        begin, last = self._begin_in(schedule.trail, end), schedule.moments - 1
        schedule.exactly(min(begin, last), last, ticks)
        moments = schedule.earliest()
        return _taken(self._plain, self.graph, schedule, moments, begin, end, ticks)


def _apart(first: int, end: int) -> Iterator[tuple[int, int]]:
    """Pairs of places in a trail, the nearest to its end first."""
    pairs = combinations(range(end - 1, first - 1, -1), 2)
    return ((one, other) for other, one in pairs)


def _taken(
    product: Product,
    graph: ZoneGraph,
    schedule: Schedule,
    moments: list[int],
    begin: int,
    end: _End,
    ticks: int,
) -> WitnessedTime:
    """The run, taken by the plain interpreter."""
    runner = Runner(product)
    run, places = runner.run_in_places(graph, schedule, moments)
    state = run[-1][1] if run else product.initial
    runner.step(run, state, end.label, end.after)
    begins = len(run) if begin == len(schedule.trail) else places[begin]
    return WitnessedTime(ticks, run, begins)
