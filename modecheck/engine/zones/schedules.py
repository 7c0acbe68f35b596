"""When the steps of a run happen: whole ticks that keep all bounds on the way to a node.

Every bound on a clock is one on the difference of two moments, since a clock counts from the moment
at which it was set. Such bounds have a whole solution if they have any, an earliest and perhaps a
latest one (Bellman's shortest paths; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from modecheck.engine.zones.time_elapse import caps_of
from modecheck.engine.zones.zone_clocks import BoundsInForce
from modecheck.engine.zones.zone_exploration import TICK, Node, ZoneGraph
from modecheck.model.errors import ModecheckError


class NoSchedule(ModecheckError):
    """A way of zones that no run takes: a fault of modecheck itself."""

    def __str__(self) -> str:
        return "a way of zones cannot be put into moments"


@dataclass(slots=True)
class Schedule:
    """The moments of a run: that of its begin, 0, and one for each step or tick of its trail.

    `bounds` hold triples: moment `a` is at most `c` ticks after moment `b`.
    """

    trail: list[int]
    moments: int = 1
    bounds: list[tuple[int, int, int]] = field(default_factory=list)

    def earliest(self) -> list[int]:
        """Each moment as early as it can be. Raises `NoSchedule`."""
        found = [0] * self.moments
        for _ in range(self.moments + 1):
            changed = False
            for later, earlier, ticks in self.bounds:
                if found[earlier] < found[later] - ticks:
                    found[earlier] = found[later] - ticks
                    changed = True
            if not changed:
                if found[0]:
                    break
                return found
        raise NoSchedule


@dataclass(frozen=True, slots=True)
class _Set:
    """A clock was set to `value` at a moment."""

    moment: int
    value: int


class _Scheduler:
    def __init__(self, graph: ZoneGraph, trail: list[int]) -> None:
        self._graph = graph
        self.schedule = Schedule(trail)
        self._clocks: list[_Set] = []

    def along(self) -> None:
        nodes = [self._graph.nodes[number] for number in self.schedule.trail]
        first = nodes[0]
        self._clocks = [_Set(0, value) for _, value in first.came.sources]
        self._entered(first)
        for before, node in pairwise(nodes):
            if node.came.label == TICK:
                self._tick(before, node)
            else:
                self.leave(before, node.came.way)
            self._arrive(node)
            self._entered(node)

    def _bound(self, index: int, low: int, high: int | None, moment: int, less: int = 0) -> None:
        """A clock is from low to high `less` ticks before a moment."""
        clock = self._clocks[index - 1]
        # moment - less - clock.moment + clock.value lies from low to high
        self.schedule.bounds.append((clock.moment, moment, clock.value - less - low))
        if high is not None:
            self.schedule.bounds.append((moment, clock.moment, high - clock.value + less))

    def _entered(self, node: Node) -> None:
        for bounds in node.part.entered:
            self._bound(bounds.field, bounds.low, bounds.high, self.schedule.moments - 1)

    def _next(self, node: Node, *, less: int) -> int:
        """A moment not before the last one, and within what time may come to."""
        schedule = self.schedule
        now = schedule.moments
        schedule.moments += 1
        schedule.bounds.append((now - 1, now, -less))
        if node.part.stands:
            schedule.bounds.append((now, now - 1, less))
        else:
            for index, cap in caps_of(node.situation, node.part):
                self._bound(index, 0, cap, now, less)
        return now

    def leave(self, node: Node, way: BoundsInForce) -> None:
        """A step at a moment within bounds."""
        now = self._next(node, less=0)
        for bounds in way:
            self._bound(node.situation.index(bounds.field), bounds.low, bounds.high, now)

    def _tick(self, before: Node, node: Node) -> None:
        now = self._next(before, less=1)
        for bounds in node.came.bounds:
            self._bound(bounds.field, bounds.low, bounds.high, now, less=1)

    def _arrive(self, node: Node) -> None:
        now = self.schedule.moments - 1
        old = self._clocks
        self._clocks = [
            old[source - 1] if source else _Set(now, value) for source, value in node.came.sources
        ]


def schedule_to(graph: ZoneGraph, number: int, leaving: BoundsInForce | None = None) -> Schedule:
    """The moments of a run into a node, and with `leaving` of a step out of it."""
    scheduler = _Scheduler(graph, graph.trail(number))
    scheduler.along()
    if leaving is not None:
        scheduler.leave(graph.nodes[number], leaving)
    return scheduler.schedule
