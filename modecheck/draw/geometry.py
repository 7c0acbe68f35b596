"""Points, rectangles and straight lines of a picture. x grows to the right, y downwards."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

Point: TypeAlias = tuple[float, float]

Polyline: TypeAlias = tuple[Point, ...]
"""A broken line: its ends and bends."""


@dataclass(frozen=True, slots=True)
class Rectangle:
    left: float
    top: float
    right: float
    bottom: float

    @property
    def centre(self) -> Point:
        return ((self.left + self.right) / 2, (self.top + self.bottom) / 2)

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def corners(self) -> tuple[Point, ...]:
        return (
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
        )

    def grown(self, margin: float) -> Rectangle:
        """The rectangle with a margin on each side."""
        return Rectangle(
            self.left - margin, self.top - margin, self.right + margin, self.bottom + margin
        )

    def moved(self, right: float, down: float) -> Rectangle:
        return Rectangle(self.left + right, self.top + down, self.right + right, self.bottom + down)

    def holds(self, point: Point) -> bool:
        """Whether a point lies strictly inside."""
        return self.left < point[0] < self.right and self.top < point[1] < self.bottom

    def meets(self, other: Rectangle) -> bool:
        """Whether the two share more than a border."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def is_crossed(self, start: Point, end: Point) -> bool:
        """Whether a straight line passes through the inside (Liang and Barsky 1984)."""
        shares = self.shares_inside(start, end)
        return shares is not None and shares[1] - shares[0] > 1e-9

    def shares_inside(self, start: Point, end: Point) -> tuple[float, float] | None:
        """Where a straight line enters and leaves the inside, as fractions of its length."""
        low, high = 0.0, 1.0
        for axis, (least, most) in enumerate(((self.left, self.right), (self.top, self.bottom))):
            length = end[axis] - start[axis]
            if abs(length) < 1e-9:
                if not least < start[axis] < most:
                    return None
                continue
            first, last = sorted(((least - start[axis]) / length, (most - start[axis]) / length))
            low, high = max(low, first), min(high, last)
        return (low, high) if high > low else None


def around(points: Iterable[Point]) -> Rectangle:
    """The smallest rectangle that holds all points."""
    xs, ys = zip(*points, strict=True)
    return Rectangle(min(xs), min(ys), max(xs), max(ys))


def around_all(rectangles: Iterable[Rectangle]) -> Rectangle:
    """The smallest rectangle that holds all others."""
    return around(corner for rectangle in rectangles for corner in rectangle.corners)


def triangle_meets(triangle: Sequence[Point], rectangle: Rectangle) -> bool:
    """Whether a triangle and a rectangle share more than a border."""
    sides = zip(triangle, (*triangle[1:], triangle[0]), strict=True)
    if any(rectangle.is_crossed(start, end) for start, end in sides):
        return True
    return _in_triangle(rectangle.centre, triangle)


def _in_triangle(point: Point, triangle: Sequence[Point]) -> bool:
    turns = [
        _turn(start, end, point)
        for start, end in zip(triangle, (*triangle[1:], triangle[0]), strict=True)
    ]
    return all(turn > 0 for turn in turns) or all(turn < 0 for turn in turns)


def _turn(start: Point, end: Point, point: Point) -> float:
    return (end[0] - start[0]) * (point[1] - start[1]) - (end[1] - start[1]) * (point[0] - start[0])
