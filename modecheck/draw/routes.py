"""The final ways of arrows: from the layout's broken lines to lines that end where they should.

Every way runs in the direction of its arrow. The layout decides on which side of a box a line
passes; here needless bends are taken out, the ends that meet at one side of a box are spread
along it, ends opposite each other are put in line, and ends at the border of a frame reach it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

from modecheck.draw.dot_text import runs_back
from modecheck.draw.geometry import Point, Rectangle, triangle_meets
from modecheck.draw.layout import Places
from modecheck.draw.sketch import SHAPES, Arrow, Box, End, Sketch

Way: TypeAlias = tuple[Point, ...]
"""A broken line."""

Span: TypeAlias = tuple[float, float]

CLEARANCE = 4.0
"""A line that is pulled straight keeps this far away from boxes and frames."""

APART = 13.0
"""Between two ends at one side of a box: arrow tips side by side stay apart."""

CORNER = 10.0
"""Ends keep away from the rounded corners of a box."""

LOOP_REACH = 20.0
LOOP_HEIGHT = 16.0
"""How far a loop goes from its box, and how far apart its ends are."""

WORD_EDGE = 6.0
"""Lines meet a label above or below its words, this far from their ends."""


@dataclass(frozen=True, slots=True)
class Route:
    """The one or two ways of an arrow (from its tail to its label, from there to its head)."""

    arrow: Arrow
    ways: tuple[Way, ...]


def routes(sketch: Sketch, places: Places) -> tuple[Route, ...]:
    """The route of every arrow, in the sketch's order."""
    return _Router(sketch, places).routes()


@dataclass(slots=True)
class _Tie:
    """An end of a way at a side ("top", "bottom", "left", "right") of a box or frame.

    `span` bounds it along that side; `yields` is true for labels, which follow their other end.
    """

    key: str
    rectangle: Rectangle
    side: str
    span: Span
    aim: Point
    at: float
    yields: bool = False

    @property
    def level(self) -> bool:
        """Whether the end may be moved along x."""
        return self.side in ("top", "bottom")

    @property
    def point(self) -> Point:
        border: float = getattr(self.rectangle, self.side)
        return (self.at, border) if self.level else (border, self.at)

    def settle(self) -> None:
        self.at = min(max(_along(self.aim, self.side), self.span[0]), self.span[1])

    def slope(self) -> float:
        """Sorts ends at one spot by the direction from which their lines come."""
        x, y = self.point
        along, away = (self.aim[0] - x, self.aim[1] - y)
        if not self.level:
            along, away = away, along
        return along / max(abs(away), 0.1)


@dataclass(slots=True)
class _Way:
    """A way under work: its two ties and the bends between them."""

    arrow: Arrow
    start: _Tie
    finish: _Tie
    bends: list[Point]
    obstacles: tuple[Rectangle, ...]
    original: Way

    @property
    def points(self) -> Way:
        return (self.start.point, *self.bends, self.finish.point)

    @property
    def best(self) -> Way:
        """The way as it became, or as the layout had it where that would touch something."""
        return self.points if self.is_free(self.points) else self.original

    def aim(self) -> None:
        """Lets each end look at what the line comes from."""
        self.start.aim = self.bends[0] if self.bends else self.finish.point
        self.finish.aim = self.bends[-1] if self.bends else self.start.point

    def is_free(self, points: Way) -> bool:
        return not any(
            obstacle.is_crossed(start, end)
            for start, end in pairwise(points)
            for obstacle in self.obstacles
        )


class _Router:
    def __init__(self, sketch: Sketch, places: Places) -> None:
        self._places = places
        self._boxes = {box.key: box for box in sketch.every_box}
        self._parents = {frame.key: frame.parent for frame in sketch.frames}
        self._arrows = sketch.arrows

    def routes(self) -> tuple[Route, ...]:
        ways = {arrow.key: list(self._ways(arrow)) for arrow in self._arrows if not arrow.loops}
        every = [way for parts in ways.values() for way in parts]
        for way in every:
            self._pull_straight(way)
        self._tie(every)
        for way in every:
            self._pull_straight(way)
        return tuple(
            Route(arrow, (self._loop(arrow),))
            if arrow.loops
            else Route(arrow, tuple(way.best for way in ways[arrow.key]))
            for arrow in self._arrows
        )

    def _loop(self, arrow: Arrow) -> Way:
        """Out of the right side of a box and back, beside the label if there is one."""
        place = self._places.boxes[arrow.tail.box]
        label = self._places.boxes[arrow.label.key] if arrow.label else None
        reach = min(label.left - place.right - 2, LOOP_REACH) if label else LOOP_REACH
        near, far, middle = place.right, place.right + reach, place.centre[1]
        above, under = middle - LOOP_HEIGHT / 2, middle + LOOP_HEIGHT / 2
        return ((near, above), (far, above), (far, under), (near, under))

    def _ways(self, arrow: Arrow) -> Iterator[_Way]:
        ends = [arrow.tail, arrow.head]
        if arrow.label:
            ends.insert(1, End(arrow.label.key))
        for part, (tail, head) in enumerate(pairwise(ends), start=1):
            points = list(self._places.ways[f"{arrow.key}.{part}"])
            if runs_back(arrow, str(part)):
                points.reverse()
            bends = points[1:-1]
            start = self._new_tie(tail, points[0], points[1])
            finish = self._new_tie(head, points[-1], points[-2])
            obstacles = tuple(self._obstacles(tail, head))
            original = self._led_on(points[::-1], tail)[::-1]
            original = self._led_on(original, head)
            yield _Way(arrow, start, finish, bends, obstacles, tuple(original))

    def _new_tie(self, end: End, at: Point, towards: Point) -> _Tie:
        box = self._boxes[end.box]
        if end.border:
            rectangle = self._places.frames[end.frame]
            side = _side(rectangle, towards) if end.border == "outside" else _near(box)
            span = _span(rectangle, side)
            return _Tie(f"frame {end.frame}", rectangle, side, span, towards, _along(at, side))
        rectangle = self._places.boxes[end.box]
        side = _side(rectangle, towards)
        if box.shape == "label" and side in ("top", "bottom"):
            span = _span_of_words(box, rectangle, side)
        else:
            span = _span(rectangle, side)
        return _Tie(end.box, rectangle, side, span, towards, _along(at, side), box.shape == "label")

    def _led_on(self, points: list[Point], end: End) -> list[Point]:
        """A line that reaches a port from inside goes straight on to the border of its frame."""
        if end.border != "inside":
            return points
        box, frame = self._boxes[end.box], self._places.frames[end.frame]
        x = self._places.boxes[end.box].centre[0]
        return [*points, (x, frame.top if _near(box) == "top" else frame.bottom)]

    def _obstacles(self, tail: End, head: End) -> Iterator[Rectangle]:
        """Boxes and frames that a line between two ends must not touch."""
        around = {*self._frames_around(tail), *self._frames_around(head)}
        for key, rectangle in self._places.boxes.items():
            if key not in (tail.box, head.box) and self._boxes[key].shape != "port":
                yield rectangle.grown(CLEARANCE)
        for key, rectangle in self._places.frames.items():
            if key not in around:
                yield rectangle.grown(CLEARANCE if key not in (tail.frame, head.frame) else -0.5)

    def _frames_around(self, end: End) -> Iterator[str]:
        frame = self._boxes[end.box].frame
        if end.border == "outside":
            frame = self._parents[frame]
        while frame:
            yield frame
            frame = self._parents[frame]

    def _pull_straight(self, way: _Way) -> None:
        """Takes out bends while no box or frame lies between the old line and the new."""
        position = 0
        while position < len(way.bends):
            points = way.points
            corner = points[position : position + 3]
            if any(triangle_meets(corner, obstacle) for obstacle in way.obstacles):
                position += 1
            else:
                del way.bends[position]
                position = max(position - 1, 0)
        way.aim()

    def _tie(self, ways: list[_Way]) -> None:
        """Moves the ends along the sides: first at states, then at labels, which follow."""
        for labels in (False, True):
            sides: dict[tuple[str, str], list[_Tie]] = {}
            for way in ways:
                way.aim()
                for tie in (way.start, way.finish):
                    if tie.yields == labels:
                        tie.settle()
                        sides.setdefault((tie.key, tie.side), []).append(tie)
            for ties in sides.values():
                _spread(ties)


def _side(rectangle: Rectangle, towards: Point) -> str:
    x, y = towards
    if y <= rectangle.top:
        return "top"
    if y >= rectangle.bottom:
        return "bottom"
    return "left" if x < rectangle.centre[0] else "right"


def _near(port: Box) -> str:
    """The border of its frame at which a port stands."""
    return "top" if port.row == "top" else "bottom"


def _along(point: Point, side: str) -> float:
    return point[0] if side in ("top", "bottom") else point[1]


def _span(rectangle: Rectangle, side: str) -> Span:
    """Where along a side lines may end."""
    if side in ("top", "bottom"):
        middle, room = rectangle.centre[0], rectangle.width / 2 - CORNER
    else:
        middle, room = rectangle.centre[1], rectangle.height / 2 - CORNER
    return (middle - max(room, 0), middle + max(room, 0))


def _span_of_words(label: Box, rectangle: Rectangle, side: str) -> Span:
    """Where lines may end above the first or below the last words of a label."""
    lines = [line for block in label.blocks for line in block.lines]
    line = lines[0] if side == "top" else lines[-1]
    width = line.width - line.indent
    middle = rectangle.left + SHAPES["label"].beside + line.indent + width / 2
    room = max(width / 2 - WORD_EDGE, 0)
    return (middle - room, middle + room)


def _spread(ties: list[_Tie]) -> None:
    """Keeps ends at one side apart, as near to their wishes as the side allows."""
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
