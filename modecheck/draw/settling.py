"""Last touches to places: labels of loops get theirs, headers go to the corner of their frame."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from modecheck.draw.geometry import Rectangle
from modecheck.draw.layout import Places
from modecheck.draw.routes import Route
from modecheck.draw.sketch import Frame, Sketch

CLEARANCE = 4.0
"""A header keeps this far away from lines and boxes."""

STRIDE = 8.0
"""How far a header goes towards its layout's place before it tries again."""

INSETS = {"diagram": (0.0, 0.0), "composite": (8.0, 6.0), "rest": (11.0, 9.0)}
"""Where a header stands in the corner of each kind of frame."""


def settled(sketch: Sketch, places: Places, drawn: Sequence[Route]) -> Places:
    """The places with every header as near to its frame's upper left corner as lines allow.

    The layout keeps headers clear of everything, so there is always a place that is free.
    """
    boxes = dict(places.boxes)
    for frame in sketch.frames:
        key = frame.header.key
        others = [place for other, place in boxes.items() if other != key]
        others += [place for other, place in places.frames.items() if _is_inside(sketch, other, frame)]
        boxes[key] = _nearest_free(frame, places.frames[frame.key], boxes[key], others, drawn)
    return replace(places, boxes=boxes)


def _is_inside(sketch: Sketch, key: str, frame: Frame) -> bool:
    parents = {each.key: each.parent for each in sketch.frames}
    above = parents[key]
    while above and above != frame.key:
        above = parents[above]
    return above == frame.key


def _nearest_free(
    frame: Frame,
    around: Rectangle,
    header: Rectangle,
    others: Iterable[Rectangle],
    drawn: Sequence[Route],
) -> Rectangle:
    others = list(others)
    return next(
        (place for place in _candidates(frame, around, header) if _is_free(place, others, drawn)),
        header,
    )


def _candidates(frame: Frame, around: Rectangle, header: Rectangle) -> Iterator[Rectangle]:
    beside, above = INSETS[frame.shape]
    up = around.top + above - header.top
    goal = around.left + beside
    for step in range(int((header.left - goal) // STRIDE) + 1):
        yield header.moved(goal + step * STRIDE - header.left, up)


def _is_free(place: Rectangle, others: list[Rectangle], drawn: Sequence[Route]) -> bool:
    room = place.grown(CLEARANCE)
    if any(room.meets(other) for other in others):
        return False
    return not any(
        room.is_crossed(start, end)
        for route in drawn
        for way in route.ways
        for start, end in pairwise(way)
    )


def completed(sketch: Sketch, places: Places) -> Places:
    """The places with those of the labels of loops, which the layout tells apart from boxes.

    Starts that stand beside a tall header go down to its foot, nearer to where they lead.
    """
    boxes = dict(places.boxes)
    for frame in sketch.frames:
        header = boxes[frame.header.key]
        for box in sketch.boxes:
            if box.shape == "start" and box.frame == frame.key:
                place = boxes[box.key]
                lower = place.moved(0, max(header.bottom - 4 - place.bottom, 0))
                if not _is_touched(lower, box.key, sketch, places):
                    boxes[box.key] = lower
    for arrow in sketch.arrows:
        if arrow.loops and arrow.label:
            x, y = places.loop_labels[f"{arrow.key}.1"]
            beside, above = arrow.label.width / 2, arrow.label.height / 2
            boxes[arrow.label.key] = Rectangle(x - beside, y - above, x + beside, y + above)
    return replace(places, boxes=boxes)


def _is_touched(place: Rectangle, start: str, sketch: Sketch, places: Places) -> bool:
    """Whether a line that has nothing to do with a start comes near its new place."""
    own = {f"{arrow.key}.1" for arrow in sketch.arrows if arrow.tail.box == start}
    room = place.grown(CLEARANCE)
    return any(
        room.is_crossed(first, last)
        for key, way in places.ways.items()
        if key not in own
        for first, last in pairwise(way)
    )
