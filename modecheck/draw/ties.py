"""Where lines end at the sides of boxes and frames."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

from modecheck.draw.geometry import Point, Rectangle
from modecheck.draw.sketch import SHAPES, Box

Span: TypeAlias = tuple[float, float]
"""From where to where along a side."""

APART = 13.0
"""Between two ends at one side of a box: arrow tips side by side stay apart."""

FLATTEST = 0.3
"""The slope under which a line would run along a side: it ends at the next side instead."""

WORD_EDGE = 6.0
"""Lines meet a label above or below its words, this far from their ends."""


CORNER = 10.0
"""Ends keep away from the rounded corners of a box."""

ACTOR_CORNER = 22.0
"""The radius of the corners of an actor's box."""


@dataclass(slots=True)
class Tie:
    """An end of a line at a side ("top", "bottom", "left", "right") of a box or frame.

    `span` bounds it along that side, `aim` is where the line comes from, `at` where it ends;
    `yields` is true for labels, which follow what is tied to them; `turns`, if the end may move
    to another side.
    """

    key: str
    rectangle: Rectangle
    side: str
    span: Span
    aim: Point
    at: float
    yields: bool = False
    turns: bool = False
    corner: float = CORNER

    @property
    def point(self) -> Point:
        border: float = getattr(self.rectangle, self.side)
        return (self.at, border) if _is_level(self.side) else (border, self.at)

    def settle(self) -> None:
        """Moves the end as near to its aim as its span allows."""
        if self.turns:
            self.side = steeper_side(self.rectangle, self.aim)
            self.span = span_of(self.rectangle, self.side, self.corner)
        self.at = min(max(along(self.aim, self.side), self.span[0]), self.span[1])

    def slope(self) -> float:
        """Sorts ends at one spot by the direction from which their lines come."""
        x, y = self.point
        sideways, away = self.aim[0] - x, self.aim[1] - y
        if not _is_level(self.side):
            sideways, away = away, sideways
        return sideways / max(abs(away), 0.1)


def along(point: Point, side: str) -> float:
    """Where a point lies in the direction of a side."""
    return point[0] if _is_level(side) else point[1]


def side_towards(rectangle: Rectangle, towards: Point) -> str:
    """The side at which a line from a point reaches a rectangle."""
    x, y = towards
    if y <= rectangle.top:
        return "top"
    if y >= rectangle.bottom:
        return "bottom"
    return "left" if x < rectangle.centre[0] else "right"


def steeper_side(rectangle: Rectangle, towards: Point) -> str:
    """The side at which a line from a point arrives, and not along the side but across it."""
    side = side_towards(rectangle, towards)
    x, y = towards
    away = rectangle.top - y if side == "top" else y - rectangle.bottom
    sideways = max(rectangle.left - x, x - rectangle.right)
    if _is_level(side) and sideways > away / FLATTEST:
        return "left" if x < rectangle.left else "right"
    return side


def span_of(rectangle: Rectangle, side: str, corner: float = CORNER) -> Span:
    """Where along a side lines may end, between corners of a radius."""
    if _is_level(side):
        middle, room = rectangle.centre[0], rectangle.width / 2 - corner
    else:
        middle, room = rectangle.centre[1], rectangle.height / 2 - max(corner - 4, 4)
    return (middle - max(room, 0), middle + max(room, 0))


def span_of_words(label: Box, rectangle: Rectangle, side: str) -> Span:
    """Where lines may end above the first or below the last words of a label."""
    lines = [line for block in label.blocks for line in block.lines]
    line = lines[0] if side == "top" else lines[-1]
    width = line.width - line.indent
    middle = rectangle.left + SHAPES["label"].beside + line.indent + width / 2
    room = max(width / 2 - WORD_EDGE, 0)
    return (middle - room, middle + room)


def spread(ties: list[Tie]) -> None:
    """Keeps ends at one side apart, as near to their aims as the side allows."""
    if len(ties) < 2:
        return
    ties.sort(key=lambda tie: (tie.at, tie.slope()))
    low, high = ties[0].span
    gap = min(APART, (high - low) / (len(ties) - 1))
    for before, tie in pairwise(ties):
        tie.at = max(tie.at, before.at + gap)
    overrun = ties[-1].at - high
    if overrun > 0:
        ties[-1].at = high
        for tie, after in zip(ties[-2::-1], ties[:0:-1], strict=True):
            tie.at = min(tie.at, after.at - gap)


def _is_level(side: str) -> bool:
    return side in ("top", "bottom")
