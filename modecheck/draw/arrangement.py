"""The final places of everything: a layout in which no line passes over a box, and its details.

The tab and the words of a diagram go into the corner that the layout leaves free. The headers of
composite states are among its boxes; they slide towards the corner of their frame, as far as
nothing is in the way. Lines are led on to the borders of frames, and their ends kept apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise

from modecheck.draw.dot_text import dot_text
from modecheck.draw.geometry import Point, Rectangle, flattened, is_clear
from modecheck.draw.layout import LaidLine, NoLayout, PicturePlaces, laid_out
from modecheck.draw.line_ends import spread
from modecheck.draw.sketch import HEADING_GAP, ArrowPiece, End, Sketch, SketchFrame
from modecheck.draw.svg_marks import TIP_LENGTH

CLEARANCE = 5.0
"""Headers keep this far away from lines and boxes."""

STRIDE = 8.0
"""How far a header gives way before it tries again."""

INSETS = {"composite": (8.0, 6.0), "rest": (11.0, 9.0)}
"""Where a header stands in the corner of each kind of frame."""


ATTEMPTS = ("", "newrank=true", "remincross=false")
"""What the layout is asked for in turn, until no line passes over a box. Of 600 random statecharts
only two need more than the first."""


def arranged(sketch: Sketch) -> PicturePlaces:
    """The final places of everything; lines run in the direction of their arrows.

    Raises NoLayout.
    """
    first, *others = ATTEMPTS
    found = _arranged(sketch, first)
    for attempt in others:
        if _is_clear(sketch, found):
            break
        with suppress(NoLayout):
            tried = _arranged(sketch, attempt)
            found = tried if _is_clear(sketch, tried) else found
    return found


def _arranged(sketch: Sketch, attempt: str) -> PicturePlaces:
    dot = dot_text(sketch, attempt)
    return _completed(sketch, laid_out(sketch.name, dot, len(sketch.every_box)))


def _is_clear(sketch: Sketch, places: PicturePlaces) -> bool:
    boxes = [places.boxes[box.key] for box in sketch.every_box if box.shape != "port"]
    return all(is_clear(line.curve, boxes) for line in places.lines.values())


def _completed(sketch: Sketch, places: PicturePlaces) -> PicturePlaces:
    boxes, frames = dict(places.boxes), dict(places.frames)
    for frame in sketch.frames:
        if frame.shape == "diagram":
            around, (width, _) = frames[frame.key], frame.heading
            right = max(around.right, around.left + width + 2 * CLEARANCE)
            frames[frame.key] = replace(around, right=right)
            left, top = around.left, around.top
            for box in filter(None, (frame.header, frame.words)):
                boxes[box.key] = Rectangle(left, top, left + box.width, top + box.height)
                top += box.height + HEADING_GAP
    ends = _FrameEnds(sketch, PicturePlaces(boxes, frames, places.lines))
    lines = {
        stretch.key: ends.led(stretch) for arrow in sketch.arrows for stretch in arrow.stretches
    }
    places = PicturePlaces(boxes, frames, spread(sketch, boxes, lines))
    for frame in sketch.frames:
        if frame.shape != "diagram":
            boxes[frame.header.key] = _slid(sketch, places, frame)
    return places


class _FrameEnds:
    """Leads lines that end at a frame's border from inside upright to it, or to the words there."""

    def __init__(self, sketch: Sketch, places: PicturePlaces) -> None:
        self._places = places
        self._rows = {box.key: box.row for box in sketch.boxes}
        self._headings = {
            frame.key: [box.key for box in (frame.header, frame.words) if box is not None]
            for frame in sketch.frames
            if frame.shape == "diagram"
        }

    def led(self, stretch: ArrowPiece) -> LaidLine:
        """A line in the direction of its arrow."""
        line = self._places.lines[stretch.key]
        curve, tip = line.curve[::-1] if stretch.written_back else line.curve, line.tip
        if stretch.tail.border == "inside":
            start, _, turn = self._upright(stretch.tail)
            curve = (start, turn, *curve[2:])
        if stretch.head.border == "inside":
            tip, foot, turn = self._upright(stretch.head)
            curve = (*curve[:-2], turn, foot)
        return LaidLine(curve, tip)

    def _upright(self, end: End) -> tuple[Point, Point, Point]:
        """The point at the border, where a tip there begins, and where the line turns."""
        row, port = self._rows[end.box], self._places.boxes[end.box]
        border: float = getattr(self._places.frames[end.frame], row)
        x, y = port.centre
        if row == "top":
            over = [self._places.boxes[key] for key in self._headings.get(end.frame, [])]
            border = max([border, *(box.bottom for box in over if box.left < x < box.right)])
        foot = border + (TIP_LENGTH if row == "top" else -TIP_LENGTH)
        return (x, border), (x, foot), (x, y)


def _slid(sketch: Sketch, places: PicturePlaces, frame: SketchFrame) -> Rectangle:
    """A header as near to its frame's corner as there is room, else where the layout put it."""
    place, around = places.boxes[frame.header.key], places.frames[frame.key]
    others = list(_others(sketch, places, frame))
    beside, above = INSETS[frame.shape]
    left, top = around.left + beside, around.top + above
    for step in range(int((place.left - left) // STRIDE) + 1):
        tried = place.moved(left + step * STRIDE - place.left, top - place.top)
        room = tried.grown(CLEARANCE)
        if not any(room.meets(other) for other in others) and not any(
            room.is_crossed(start, end) for start, end in _segments(places)
        ):
            return tried
    return place


def _others(sketch: Sketch, places: PicturePlaces, frame: SketchFrame) -> Iterator[Rectangle]:
    """All boxes but the header of a frame, and all frames but those around it."""
    parents = {each.key: each.parent for each in sketch.frames}
    around, above = set(), frame.key
    while above:
        around.add(above)
        above = parents[above]
    yield from (place for key, place in places.boxes.items() if key != frame.header.key)
    yield from (place for key, place in places.frames.items() if key not in around)


def _segments(places: PicturePlaces) -> Iterator[tuple[Point, Point]]:
    for line in places.lines.values():
        yield from pairwise(flattened(line.curve))
