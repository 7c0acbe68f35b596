"""Gives each band between the rows of a frame the height that it needs.

The layout aligns the rows of all frames with each other, so that a frame with small boxes beside
one with large boxes is stretched; and it leaves the same distance between rows whether one line
passes there or ten. Here each frame is laid out separately: a band without any box across the width
of the frame becomes as high as its lines need. The order from top to bottom is kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from modecheck.draw.geometry import Point, Polyline, Rectangle
from modecheck.draw.layout import PicturePlaces
from modecheck.draw.sketch import Sketch, SketchFrame

BAND = 17.0
"""The height of a band: room for a line's slope and an arrow's tip."""

FLAT = 60.0
"""A line that goes this far sideways in a band is flat."""

BAND_FOR_FLAT_LINE = 5.0
MOST_FOR_FLAT_LINES = 40.0
"""What each flat line but the first two adds to a band, and what all of them add at most."""


@dataclass(frozen=True, slots=True)
class _Band:
    """Heights from `start` to `end` that hold no box, and the height that they get."""

    start: float
    end: float
    height: float

    def shift_at(self, y: float) -> float:
        """How far the band shifts what is at a height."""
        share = min(max((y - self.start) / max(self.end - self.start, 0.01), 0), 1)
        return share * (self.height - (self.end - self.start))


@dataclass(frozen=True, slots=True)
class _Bands:
    """Maps old heights to new ones."""

    bands: tuple[_Band, ...]

    def __call__(self, y: float) -> float:
        return y + sum(band.shift_at(y) for band in self.bands)

    def shares(self, start: Point, end: Point) -> Iterator[float]:
        """Where a line enters and leaves bands, as shares of its length."""
        if start[1] != end[1]:
            for band in self.bands:
                for y in (band.start, band.end):
                    yield (y - start[1]) / (end[1] - start[1])

    def moved(self, place: Rectangle) -> Rectangle:
        """Boxes keep their height: they move with their upper border."""
        return place.moved(0, self(place.top) - place.top)


def compacted(sketch: Sketch, places: PicturePlaces) -> PicturePlaces:
    """The places with every frame compacted, inner frames first."""
    for frame in reversed(sketch.frames):
        places = _set_anew(sketch, places, frame)
    return places


def _set_anew(sketch: Sketch, places: PicturePlaces, frame: SketchFrame) -> PicturePlaces:
    bands = _Bands(tuple(_bands(sketch, places, frame)))
    inside = _frames_inside(sketch, frame)
    boxes, frames = dict(places.boxes), dict(places.frames)
    for box in sketch.every_box:
        if box.frame in inside and box.key in boxes:
            boxes[box.key] = bands.moved(boxes[box.key])
    for key in inside - {frame.key}:
        frames[key] = bands.moved(frames[key])
    around = frames[frame.key]
    frames[frame.key] = replace(around, bottom=bands(around.bottom))
    ways = {key: _moved_way(way, bands, around) for key, way in places.ways.items()}
    return PicturePlaces(boxes, frames, ways)


def _moved_way(way: Polyline, bands: _Bands, around: Rectangle) -> Polyline:
    """The line, what lies in the frame moved with it.

    It is bent where it enters or leaves a band, to keep its side of each box, and follows the
    border where it enters or leaves the frame, to meet its unmoved part.
    """
    near = around.grown(1)
    points: list[Point] = []
    for start, end in pairwise(way):
        shares = [*bands.shares(start, end), *(around.shares_inside(start, end) or ())]
        cuts = [0.0, *sorted(share for share in shares if 0 < share < 1), 1.0]
        for first, last in pairwise(cuts):
            ends = (_between(start, end, first), _between(start, end, last))
            inside = near.holds(_between(start, end, (first + last) / 2))
            points += ((x, bands(y)) if inside else (x, y) for x, y in ends)
    return (points[0], *(after for before, after in pairwise(points) if before != after))


def _between(start: Point, end: Point, share: float) -> Point:
    return (start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share)


def _bands(sketch: Sketch, places: PicturePlaces, frame: SketchFrame) -> Iterator[_Band]:
    """The bands of a frame; an inner frame may not grow, since others stand around it."""
    lines = list(_lines(places, places.frames[frame.key]))
    gaps = list(_gaps(sketch, places, frame))
    spare = sum(max(end - start - BAND, 0) for start, end in gaps)
    for start, end in gaps:
        flat = sum(_is_flat(start, end, *line) for line in lines)
        more = min(max(flat - 2, 0) * BAND_FOR_FLAT_LINE, MOST_FOR_FLAT_LINES)
        if frame.parent:
            more = min(more, spare)
            spare -= more
        if end - start > BAND or more > 0:
            yield _Band(start, end, BAND + more)


def _gaps(
    sketch: Sketch, places: PicturePlaces, frame: SketchFrame
) -> Iterator[tuple[float, float]]:
    """Where no box stands in a frame over its whole width, down to its lower border."""
    extents = sorted((place.top, place.bottom) for place in _contents(sketch, places, frame))
    filled_to = extents[0][1] if extents else places.frames[frame.key].bottom
    for top, bottom in (*extents[1:], (places.frames[frame.key].bottom,) * 2):
        if top > filled_to:
            yield (filled_to, top)
        filled_to = max(filled_to, bottom)


def _lines(places: PicturePlaces, around: Rectangle) -> Iterator[tuple[Point, Point]]:
    for way in places.ways.values():
        for start, end in pairwise(way):
            if around.is_crossed(start, end):
                yield start, end


def _is_flat(top: float, bottom: float, start: Point, end: Point) -> bool:
    """Whether a line goes far sideways between two heights."""
    low, high = sorted((start[1], end[1]))
    if high < top or low > bottom:
        return False
    inside = (min(high, bottom) - max(low, top)) / max(high - low, 0.01)
    return abs(end[0] - start[0]) * min(inside, 1) > FLAT


def _contents(sketch: Sketch, places: PicturePlaces, frame: SketchFrame) -> Iterator[Rectangle]:
    for box in sketch.every_box:
        if box.frame == frame.key and box.key in places.boxes:
            yield places.boxes[box.key]
    for inner in sketch.frames:
        if inner.parent == frame.key:
            yield places.frames[inner.key]


def _frames_inside(sketch: Sketch, frame: SketchFrame) -> set[str]:
    """A frame and all frames in it."""
    inside = {frame.key}
    for each in sketch.frames:
        if each.parent in inside:
            inside.add(each.key)
    return inside
