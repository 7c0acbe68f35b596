"""Routes a line around obstacles: the shortest path along their corners.

Layouts seldom lead a line over a box: among random statecharts one line in some two thousand.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence

from modecheck.draw.geometry import Point, Polyline, Rectangle
from modecheck.draw.taut import is_free

BEND_COST = 12.0
"""A bend is worth this much length: fewer bends read better."""


def detour(start: Point, finish: Point, obstacles: Sequence[Rectangle]) -> Polyline | None:
    """The shortest path that passes over no obstacle, or None if there is none.

    A shortest path bends only at corners of obstacles (Lozano-Pérez and Wesley 1979). Found by A*,
    with the distance to `finish` as the estimate.
    """
    goals = [finish, *(corner for each in obstacles for corner in each.corners)]
    waiting: list[tuple[float, float, Polyline]] = [(math.dist(start, finish), 0.0, (start,))]
    done: set[Point] = set()
    while waiting:
        _, length, way = heapq.heappop(waiting)
        here = way[-1]
        if here == finish:
            return way
        if here in done:
            continue
        done.add(here)
        for goal in goals:
            if goal not in done and is_free((here, goal), obstacles):
                gone = length + math.dist(here, goal) + BEND_COST
                heapq.heappush(waiting, (gone + math.dist(goal, finish), gone, (*way, goal)))
    return None
