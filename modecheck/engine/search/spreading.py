"""Spread over a state graph from some states, as breadth-first search does. Where many states have
the same distance and there are threads enough, these pass on from them together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.engine.search.arrays import Array
from modecheck.engine.search.search_kernels import (
    DONE,
    ENTERED,
    INSIDE,
    NEXT_START,
    PASSED_ON,
    PROGRESS,
    UNREACHED,
    spread_forwards,
)
from modecheck.engine.search.spreading_kernels import claim_targets, take_targets
from modecheck.engine.search.state_graph import StateGraph
from modecheck.engine.search.sweeps import do_each

LARGE = 1 << 15
"""States at the same distance from which on threads share them."""
PLACES_TOGETHER = 1 << 12
"""States that a thread passes on from at a time."""
ENOUGH_THREADS = 4
"""With fewer threads, going through all transitions twice takes longer."""


@dataclass(slots=True)
class Spreading:
    """A spread through states with none of the `blocked` marks, as `spread_forwards` says:
    `came_from` tells for each state from which it was reached, `inside` and `entered` in which
    order.
    """

    graph: StateGraph
    marks: Array
    blocked: int
    enters: bool
    came_from: Array
    inside: Array
    entered: Array
    claims: Array | None = None

    @classmethod
    def of(cls, graph: StateGraph, marks: Array, blocked: int, *, enters: bool) -> Spreading:
        """One that has not begun."""
        filled, count = graph.arrays.filled, graph.count
        came_from, inside = filled("u4", count, UNREACHED), filled("u4", count)
        entered = filled("u4", count if blocked and enters else 1)
        return cls(graph, marks, blocked, enters, came_from, inside, entered)

    def run(self, starts: int, ends: Iterable[int]) -> None:
        """Spread from all states with a mark of `starts`."""
        graph, arrays = self.graph, self.graph.arrays
        shares = arrays.is_native and graph.threads >= ENOUGH_THREADS
        large = LARGE if shares else graph.count + 1
        progress = arrays.of("i8", [-1 if place == NEXT_START else 0 for place in range(PROGRESS)])
        depths = arrays.of("i8", ends)
        while not spread_forwards(
            graph.first, graph.targets, graph.linked, self.marks, starts, depths, self.blocked,
            self.enters, self.came_from, self.inside, self.entered, large, progress,
        ):  # fmt: skip
            self._pass_on(progress)
        self.inside = self.inside[: int(progress[INSIDE])]
        self.entered = self.entered[: int(progress[ENTERED])]

    def _pass_on(self, progress: Array) -> None:
        """Pass on from the states that were reached last, on several threads."""
        graph, filled = self.graph, self.graph.arrays.filled
        begin, end = int(progress[DONE]), int(progress[INSIDE])
        if self.claims is None:
            self.claims = filled("u4", graph.count, UNREACHED)
        parts = [(at, min(at + PLACES_TOGETHER, end)) for at in range(begin, end, PLACES_TOGETHER)]
        given = graph.first, graph.targets, graph.linked, self.marks, self.blocked
        claims, taken = self.claims, dict[int, tuple[Array, Array]]()

        def take(part: tuple[int, int]) -> None:
            room = (part[1] - part[0]) * graph.most_edges
            reached, entered = filled("u4", room), filled("u4", room if self.enters else 1)
            count, entries = take_targets(
                *part, *given, self.came_from, self.inside, claims, reached, entered
            )
            taken[part[0]] = reached[: int(count)], entered[: int(entries)]

        do_each(
            lambda part: claim_targets(
                *part, *given, self.enters, self.came_from, self.inside, claims
            ),
            parts,
            graph.threads,
        )
        do_each(take, parts, graph.threads)
        progress[PASSED_ON] = end
        for at, _ in parts:
            for place, whole, new in zip(
                (INSIDE, ENTERED), (self.inside, self.entered), taken[at], strict=True
            ):
                known = int(progress[place])
                whole[known : known + len(new)] = new
                progress[place] = known + len(new)
