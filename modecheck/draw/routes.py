"""The final routes of arrows: from the layout's broken lines to lines that end where they should.

Every route runs in the direction of its arrow. The layout decides on which side of a box a line
passes; here lines are pulled taut, the ends that meet at one side of a box are spread along it,
ends opposite each other are put in line, and ends at the border of a frame reach it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from modecheck.draw.detours import detour
from modecheck.draw.geometry import Point, Polyline, Rectangle
from modecheck.draw.layout import PicturePlaces
from modecheck.draw.sketch import Arrow, ArrowPiece, End, Sketch
from modecheck.draw.taut import Bend, eased, is_free, passes_over, taut
from modecheck.draw.ties import (
    ACTOR_CORNER,
    CORNER,
    Span,
    Tie,
    along,
    side_towards,
    span_of,
    span_of_words,
    spread,
)

ROUNDS = 2
"""Taut lines let ends move, and moved ends let lines be straighter; little changes later."""

SLIP = 0.5
"""How far the layout's lines pass over corners of boxes."""

CLEARANCES = (4.0, 2.0, 0.0, -SLIP)
"""How far a line stays away from a box: the first that the layout left room for."""

FIRST_LANE = 2.0
LANE = 4.0
"""How far the innermost line around a corner stays away from it, and each further one more."""


@dataclass(frozen=True, slots=True)
class Route:
    """The lines of an arrow, one for each of its stretches."""

    arrow: Arrow
    ways: tuple[Polyline, ...]


def routes(sketch: Sketch, places: PicturePlaces) -> tuple[Route, ...]:
    """The route of every arrow, in the sketch's order."""
    return _Router(sketch, places).routes()


@dataclass(slots=True)
class _Draft:
    """A line under work: its two ends, and all bends, ends included."""

    start: Tie
    finish: Tie
    bends: tuple[Bend, ...]
    obstacles: tuple[Rectangle, ...]

    @property
    def points(self) -> Polyline:
        return tuple(bend.at for bend in self.bends)

    def aim(self) -> None:
        """Aims each end at the point that its line comes from."""
        self.start.aim, self.finish.aim = self.bends[1].at, self.bends[-2].at

    def pull(self) -> None:
        """Pulls the line taut between its current ends, along its previous path."""
        way = (self.start.point, *self.points, self.finish.point)
        self.bends = taut(_without_repeats(way), self.obstacles)
        self.aim()


class _Router:
    def __init__(self, sketch: Sketch, places: PicturePlaces) -> None:
        self._places = places
        self._boxes = {box.key: box for box in sketch.every_box}
        self._headers = {frame.key: frame.header.key for frame in sketch.frames}
        self._parents = {frame.key: frame.parent for frame in sketch.frames}
        self._arrows = sketch.arrows

    def routes(self) -> tuple[Route, ...]:
        drafts = {
            arrow.key: [self._draft(part) for part in arrow.stretches] for arrow in self._arrows
        }
        every = [draft for parts in drafts.values() for draft in parts]
        for draft in every:
            draft.pull()
        for _ in range(ROUNDS):
            for labels in (False, True):
                _tie(every, labels=labels)
                for draft in every:
                    draft.pull()
        lanes = _lanes(every)
        return tuple(
            Route(arrow, tuple(_finished(draft, lanes) for draft in drafts[arrow.key]))
            for arrow in self._arrows
        )

    def _draft(self, stretch: ArrowPiece) -> _Draft:
        points = self._free_way(stretch)
        start = self._new_tie(stretch.tail, points[0], points[1])
        finish = self._new_tie(stretch.head, points[-1], points[-2])
        obstacles = tuple(self._obstacles_of(stretch, points))
        return _Draft(start, finish, tuple(Bend(point) for point in points), obstacles)

    def _free_way(self, stretch: ArrowPiece) -> Polyline:
        """The layout's line as its arrow runs, or another one where it passes over a box."""
        way = self._places.ways[stretch.key]
        if stretch.written_back:
            way = way[::-1]
        boxes = [
            place.grown(-SLIP)
            for key, place in self._places.boxes.items()
            if self._boxes[key].shape != "port"
        ]
        if is_free(way, boxes):
            return way
        return detour(way[0], way[-1], boxes) or way

    def _new_tie(self, end: End, at: Point, towards: Point) -> Tie:
        box = self._boxes[end.box]
        if end.border:
            rectangle = self._places.frames[end.frame]
            side = side_towards(rectangle, towards) if end.border == "outside" else box.row
            span = self._span_of_frame(end.frame, side)
            start = min(max(along(at, side), span[0]), span[1])
            return Tie(f"frame {end.frame}", rectangle, side, span, towards, start)
        rectangle = self._places.boxes[end.box]
        side = side_towards(rectangle, towards)
        yields = box.shape == "label"
        corner = ACTOR_CORNER if box.shape == "actor" else CORNER
        if yields and side in ("top", "bottom"):
            span = span_of_words(box, rectangle, side)
        else:
            span = span_of(rectangle, side, corner)
        turns = box.shape not in ("label", "start")
        return Tie(end.box, rectangle, side, span, towards, along(at, side), yields, turns, corner)

    def _span_of_frame(self, frame: str, side: str) -> Span:
        """Along the whole side, but not where the frame's tab is."""
        low, high = span_of(self._places.frames[frame], side)
        header = self._headers[frame]
        if side == "top" and self._boxes[header].shape == "tab":
            low = min(self._places.boxes[header].right + CORNER, high)
        return (low, high)

    def _obstacles_of(self, stretch: ArrowPiece, points: Sequence[Point]) -> Iterator[Rectangle]:
        """What a line must keep away from, and as far as the layout's line does."""
        tail, head = stretch.tail, stretch.head
        around = {*self._frames_around(tail), *self._frames_around(head)}
        own = {tail.box, head.box, tail.frame, head.frame}
        things = [
            *(
                (key, place)
                for key, place in self._places.boxes.items()
                if self._boxes[key].shape != "port"
            ),
            *((key, place) for key, place in self._places.frames.items() if key not in around),
        ]
        for key, place in things:
            for clearance in (0.0, -SLIP) if key in own else CLEARANCES:
                room = place.grown(clearance)
                if not passes_over(points, room):
                    yield room
                    break

    def _frames_around(self, end: End) -> Iterator[str]:
        frame = self._boxes[end.box].frame
        if end.border == "outside":
            frame = self._parents[frame]
        while frame:
            yield frame
            frame = self._parents[frame]


def _tie(drafts: list[_Draft], *, labels: bool) -> None:
    """Moves the ends at labels, or those at all else, along their sides."""
    sides: dict[tuple[str, str], list[Tie]] = {}
    for draft in drafts:
        for tie in (draft.start, draft.finish):
            if tie.yields == labels:
                tie.settle()
                sides.setdefault((tie.key, tie.side), []).append(tie)
    for ties in sides.values():
        spread(ties)


def _lanes(drafts: list[_Draft]) -> dict[tuple[int, Point], float]:
    """How far each line stays away from each corner; the one that bends most is innermost."""
    corners: dict[Point, list[tuple[float, int]]] = {}
    for draft in drafts:
        for before, bend, after in zip(draft.bends, draft.bends[1:], draft.bends[2:], strict=False):
            corners.setdefault(bend.at, []).append(
                (-_angle(before.at, bend.at, after.at), id(draft))
            )
    return {
        (line, corner): FIRST_LANE + LANE * position
        for corner, lines in corners.items()
        for position, (_, line) in enumerate(sorted(lines, key=lambda each: each[0]))
    }


def _finished(draft: _Draft, lanes: dict[tuple[int, Point], float]) -> Polyline:
    """The line with its bends in their lanes, as far as there is room."""
    distances = [lanes[id(draft), bend.at] for bend in draft.bends[1:-1]]
    return eased(draft.bends, distances, draft.obstacles)


def _angle(before: Point, bend: Point, after: Point) -> float:
    """By how much a line turns, in radians."""
    first = math.atan2(bend[1] - before[1], bend[0] - before[0])
    second = math.atan2(after[1] - bend[1], after[0] - bend[0])
    turn = abs(second - first)
    return min(turn, 2 * math.pi - turn)


def _without_repeats(way: Polyline) -> Polyline:
    kept = [way[0]]
    kept += (after for before, after in pairwise(way) if after != before)
    return tuple(kept) if len(kept) > 1 else (way[0], way[-1])
