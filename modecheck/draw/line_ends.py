"""Moves the ends of lines along the sides of boxes, so that tips side by side stay apart.

The layout lets every line aim at the middle of its box: many of them end at nearly one point.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.draw.geometry import Point, Rectangle, is_clear
from modecheck.draw.layout import LaidLine
from modecheck.draw.sketch import End, Sketch
from modecheck.draw.svg_boxes import ACTOR_CORNER, ROUND

APART = 10.0
"""Between two ends at one side of a box."""

CORNER = ROUND / 2
CORNERS = {"actor": ACTOR_CORNER * 2 / 3, "chip": 2.0}
"""How far from the corners of each kind of box a line may end, so that it meets the rounding."""


@dataclass(slots=True)
class _SideEnd:
    """An end of a line at a side ("top", "bottom", "left", "right") of a box.

    `at` is where along the side it is, `low` and `high` bound it.
    """

    line: str
    is_head: bool
    side: str
    at: float
    low: float
    high: float


def spread(
    sketch: Sketch, boxes: dict[str, Rectangle], lines: dict[str, LaidLine]
) -> dict[str, LaidLine]:
    """The lines with their ends at boxes apart, and away from rounded corners."""
    shapes = {box.key: box.shape for box in sketch.boxes}
    sides: dict[tuple[str, str], list[_SideEnd]] = {}
    for line, end, is_head in _ends(sketch):
        if shapes.get(end.box, "port") not in ("port", "start", "choice"):
            corner = CORNERS.get(shapes[end.box], CORNER)
            found = _end_at(line, boxes[end.box], lines[line], corner, is_head=is_head)
            sides.setdefault((end.box, found.side), []).append(found)
    lines = dict(lines)
    others = [boxes[key] for key in sketch.obstacles]
    for ends in sides.values():
        for tied, at in zip(ends, _apart(ends), strict=True):
            moved = _moved(lines[tied.line], tied, at - tied.at)
            if is_clear(moved.curve, others):
                lines[tied.line] = moved
    return lines


def _ends(sketch: Sketch) -> Iterator[tuple[str, End, bool]]:
    for arrow in sketch.arrows:
        for stretch in arrow.stretches:
            yield stretch.key, stretch.tail, False
            yield stretch.key, stretch.head, True


def _end_at(line: str, box: Rectangle, laid: LaidLine, corner: float, *, is_head: bool) -> _SideEnd:
    x, y = (laid.tip or laid.curve[-1]) if is_head else laid.curve[0]
    away = {
        "top": abs(y - box.top),
        "bottom": abs(y - box.bottom),
        "left": abs(x - box.left),
        "right": abs(x - box.right),
    }
    side = min(away, key=lambda each: away[each])
    level = side in ("top", "bottom")
    middle, half = (box.centre[0], box.width / 2) if level else (box.centre[1], box.height / 2)
    room = max(half - corner, 0)
    return _SideEnd(line, is_head, side, x if level else y, middle - room, middle + room)


def _apart(ends: list[_SideEnd]) -> list[float]:
    """Where the ends at one side go, sorted along it: as near to where they were as possible."""
    ends.sort(key=lambda end: end.at)
    low, high = ends[0].low, ends[0].high
    gap = min(APART, (high - low) / max(len(ends) - 1, 1))
    places = [ends[0].at]
    for end in ends[1:]:
        places.append(max(end.at, places[-1] + gap))
    ahead = sum(place - end.at for place, end in zip(places, ends, strict=True)) / len(ends)
    places = [max(place - ahead, low + gap * number) for number, place in enumerate(places)]
    last = len(places) - 1
    return [min(place, high - gap * (last - number)) for number, place in enumerate(places)]


def _moved(line: LaidLine, end: _SideEnd, by: float) -> LaidLine:
    """The line with one of its ends, and the direction there, moved along the side."""

    def move(point: Point) -> Point:
        x, y = point
        return (x + by, y) if end.side in ("top", "bottom") else (x, y + by)

    first, second, *inner, before, last = line.curve
    if not end.is_head:
        return LaidLine((move(first), move(second), *inner, before, last), line.tip)
    tip = move(line.tip) if line.tip else None
    return LaidLine((first, second, *inner, move(before), move(last)), tip)
