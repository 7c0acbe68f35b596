"""Points, rectangles, lines and curves of a picture. x grows to the right, y downwards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

Point: TypeAlias = tuple[float, float]

Polyline: TypeAlias = tuple[Point, ...]
"""A broken line: its ends and bends."""

Curve: TypeAlias = tuple[Point, ...]
"""Cubic Bézier curves end to end: a start, then of each its two control points and its end."""

PIECES = 12
"""Straight pieces that stand for one Bézier curve: off by less than a line's width."""

GRAZE = 0.5
"""How far a line may reach into a box: nothing that can be seen."""


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
        low, high = 0.0, 1.0
        for axis, (least, most) in enumerate(((self.left, self.right), (self.top, self.bottom))):
            length = end[axis] - start[axis]
            if abs(length) < 1e-9:
                if not least < start[axis] < most:
                    return False
                continue
            first, last = sorted(((least - start[axis]) / length, (most - start[axis]) / length))
            low, high = max(low, first), min(high, last)
        return high - low > 1e-9


def around(points: Iterable[Point]) -> Rectangle:
    """The smallest rectangle that holds all points."""
    xs, ys = zip(*points, strict=True)
    return Rectangle(min(xs), min(ys), max(xs), max(ys))


def around_all(rectangles: Iterable[Rectangle]) -> Rectangle:
    """The smallest rectangle that holds all others."""
    return around(corner for rectangle in rectangles for corner in rectangle.corners)


def flattened(curve: Curve) -> Polyline:
    """Points along a curve, near enough to each other for the eye, its ends included."""
    points = [curve[0]]
    for place in range(0, len(curve) - 1, 3):
        controls = curve[place : place + 4]
        points += (_on_curve(controls, part / PIECES) for part in range(1, PIECES + 1))
    return tuple(points)


def _on_curve(controls: Curve, share: float) -> Point:
    rest = 1 - share
    weights = (rest**3, 3 * rest**2 * share, 3 * rest * share**2, share**3)
    x = sum(weight * control[0] for weight, control in zip(weights, controls, strict=True))
    y = sum(weight * control[1] for weight, control in zip(weights, controls, strict=True))
    return (x, y)


def is_clear(curve: Curve, boxes: Iterable[Rectangle]) -> bool:
    """Whether a curve passes over no box; it may touch them, and graze their corners."""
    hull = around(curve)  # A curve stays between its control points.
    near = [box.grown(-GRAZE) for box in boxes if box.meets(hull)]
    pieces = list(pairwise(flattened(curve))) if near else []
    return not any(box.is_crossed(start, end) for start, end in pieces for box in near)
