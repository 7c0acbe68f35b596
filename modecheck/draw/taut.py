"""Pulls broken lines taut: as short as they can be without passing over a box.

A line is a string between two pins among rectangles. Pulled, it lies straight or bends at corners
of rectangles only, and each rectangle stays on the side of it where it was (Hershberger and
Snoeyink 1994 call it the shortest path of the same homotopy class). Afterwards bends move away
from their corners, and lines around the same corner into lanes beside each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from modecheck.draw.geometry import Point, Polyline, Rectangle, triangle_meets

TOLERANCE = 0.01
"""A line passes over a rectangle when it gets this far inside: touching a corner is no passing."""

TIGHTEST = 0.5
"""A bend that has not even this much room stays at its corner."""

MOST_ROUNDS = 60
"""Every round shortens the line; in practice four or five are enough."""


@dataclass(frozen=True, slots=True)
class Bend:
    """A point where a line bends, and the direction away from the corner there, if there is one."""

    at: Point
    away: Point = (0.0, 0.0)

    def moved(self, distance: float) -> Point:
        """The bend at a distance from its corner, measured along each axis."""
        return (self.at[0] + self.away[0] * distance, self.at[1] + self.away[1] * distance)


def is_free(points: Sequence[Point], obstacles: Iterable[Rectangle]) -> bool:
    """Whether a broken line passes over no obstacle."""
    return not any(passes_over(points, obstacle) for obstacle in obstacles)


def passes_over(points: Sequence[Point], obstacle: Rectangle) -> bool:
    """Whether a broken line goes through the inside of a rectangle."""
    inner = obstacle.grown(-TOLERANCE)
    return any(inner.is_crossed(start, end) for start, end in pairwise(points))


def taut(points: Polyline, obstacles: Sequence[Rectangle]) -> tuple[Bend, ...]:
    """The bends, ends included, of a line that is free of obstacles when it has been pulled."""
    bends = [Bend(point) for point in points]
    for _ in range(MOST_ROUNDS):
        before = list(bends)
        position = 1
        while position < len(bends) - 1:
            chain = _around_corners(bends[position - 1 : position + 2], obstacles)
            bends[position : position + 1] = chain
            position += max(len(chain), 0) if chain else 0
            position = position if chain else max(position - 1, 1)
        if bends == before:
            break
    return tuple(bends)


def eased(
    bends: Sequence[Bend], distances: Sequence[float], obstacles: Sequence[Rectangle]
) -> Polyline:
    """The line with each inner bend at its distance from its corner, or as near to that as it can
    be without passing over an obstacle.
    """
    points = [bend.at for bend in bends]
    for position, distance in enumerate(distances, start=1):
        while distance > TIGHTEST:
            tried = [points[position - 1], bends[position].moved(distance), points[position + 1]]
            if is_free(tried, obstacles):
                points[position] = tried[1]
                break
            distance /= 2
    return tuple(points)


def _around_corners(corner: Sequence[Bend], obstacles: Sequence[Rectangle]) -> list[Bend]:
    """What a bend becomes: nothing, or bends at the corners between it and the straight line."""
    start, middle, end = (bend.at for bend in corner)
    triangle = (start, middle, end)
    if _is_flat(*triangle):
        return []
    low_x, high_x = min(point[0] for point in triangle), max(point[0] for point in triangle)
    low_y, high_y = min(point[1] for point in triangle), max(point[1] for point in triangle)
    found: list[Bend] = []
    for obstacle in obstacles:
        if (
            obstacle.left < high_x
            and obstacle.right > low_x
            and obstacle.top < high_y
            and obstacle.bottom > low_y
            and triangle_meets(triangle, obstacle.grown(-TOLERANCE))
        ):
            found += (bend for bend in _corners(obstacle) if _is_inside(bend.at, triangle))
    return _hull(start, middle, end, found)


def _corners(obstacle: Rectangle) -> tuple[Bend, ...]:
    return (
        Bend((obstacle.left, obstacle.top), (-1, -1)),
        Bend((obstacle.right, obstacle.top), (1, -1)),
        Bend((obstacle.right, obstacle.bottom), (1, 1)),
        Bend((obstacle.left, obstacle.bottom), (-1, 1)),
    )


def _hull(start: Point, middle: Point, end: Point, bends: list[Bend]) -> list[Bend]:
    """The shortest chain from start to end on the side of `middle` around all bends."""
    side = math.copysign(1, _turn(start, end, middle))
    length = math.dist(start, end) or 1.0
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    bends = sorted(bends, key=lambda bend: _dot(along, start, bend.at))
    chain = [Bend(start)]
    for bend in [*bends, Bend(end)]:
        while len(chain) > 1 and side * _turn(chain[-2].at, chain[-1].at, bend.at) >= -1e-9:
            chain.pop()
        if bend.at != chain[-1].at:
            chain.append(bend)
    return [bend for bend in chain[1:] if bend.at != end]


def _is_inside(point: Point, triangle: Polyline) -> bool:
    """Whether a point lies in a triangle or nearly so, but for the two pinned corners.

    Lines may pass over a corner by TOLERANCE, so a corner may lie that far outside.
    """
    if point in (triangle[0], triangle[2]):
        return False
    distances = [
        _turn(start, end, point) / max(math.dist(start, end), 1e-9)
        for start, end in zip(triangle, (*triangle[1:], triangle[0]), strict=True)
    ]
    slack = 2 * TOLERANCE
    return min(distances) >= -slack or max(distances) <= slack


def _is_flat(start: Point, middle: Point, end: Point) -> bool:
    return abs(_turn(start, middle, end)) < 0.01


def _turn(start: Point, end: Point, point: Point) -> float:
    """Twice the area of a triangle; its sign says on which side of a line a point lies."""
    return (end[0] - start[0]) * (point[1] - start[1]) - (end[1] - start[1]) * (point[0] - start[0])


def _dot(along: Point, start: Point, point: Point) -> float:
    return along[0] * (point[0] - start[0]) + along[1] * (point[1] - start[1])
