"""The final places of everything in a picture: a layout, and its details.

The tab and the words of a diagram go into the corner that the layout leaves free. The headers of
composite states are among its boxes; they slide towards the corner of their frame, as far as
nothing is in the way. Lines are led on to the borders of frames, and their ends kept apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from modecheck.draw.geometry import Point, Rectangle, flattened, is_clear
from modecheck.draw.layout import LaidLine, PicturePlaces, laid_out
from modecheck.draw.line_ends import spread
from modecheck.draw.sketch import HEADING_GAP, ArrowPiece, End, Sketch, SketchFrame
from modecheck.draw.svg_marks import TIP_LENGTH

CLEARANCE = 5.0
"""Headers keep this far away from lines and boxes."""

STRIDE = 8.0
"""How far a header gives way before it tries again."""

INSETS = {"composite": (8.0, 6.0), "rest": (11.0, 9.0)}
"""Where a header stands in the corner of each kind of frame."""


def arranged(sketch: Sketch, dot: str) -> PicturePlaces:
    """The final places of everything in a sketch, by its DOT text; lines run as their arrows do.

    No line passes over a box. Raises NoLayout.
    """
    places = laid_out(sketch.name, dot, len(sketch.every_box))
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
        self._obstacles = [places.boxes[key] for key in sketch.obstacles]
        self._headings = {
            frame.key: [box.key for box in (frame.header, frame.words) if box is not None]
            for frame in sketch.frames
            if frame.shape == "diagram"
        }

    def led(self, stretch: ArrowPiece) -> LaidLine:
        """A line in the direction of its arrow; with a kink at its port if it would meet a box."""
        line = self._led(stretch, kinked=False)
        return line if is_clear(line.curve, self._obstacles) else self._led(stretch, kinked=True)

    def _led(self, stretch: ArrowPiece, *, kinked: bool) -> LaidLine:
        line = self._places.lines[stretch.key]
        curve, tip = line.curve[::-1] if stretch.written_back else line.curve, line.tip
        if stretch.tail.border == "inside":
            start, _, turn = self._upright(stretch.tail)
            curve = (start, start, curve[0], *curve) if kinked else (start, turn, *curve[2:])
        if stretch.head.border == "inside":
            tip, foot, turn = self._upright(stretch.head)
            curve = (*curve, curve[-1], foot, foot) if kinked else (*curve[:-2], turn, foot)
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
