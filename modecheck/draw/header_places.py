"""Places headers, and the text about the whole picture, where there is free space.

This happens after boxes and lines have their places: a header never moves them, except that the
outermost frame grows upwards if its text finds no room.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, pairwise

from modecheck.draw.geometry import Point, Polyline, Rectangle
from modecheck.draw.layout import PicturePlaces
from modecheck.draw.routes import Route
from modecheck.draw.sketch import Box, Sketch, SketchFrame

CLEARANCE = 5.0
"""Words keep this far away from lines and boxes."""

STRIDE = 8.0
"""How far words give way before they try again."""

DEEPEST = 160.0
"""How far below the upper border the words of a diagram may stand."""

INSETS = {"composite": (8.0, 6.0), "rest": (11.0, 9.0), "diagram": (0.0, 0.0)}
"""Where a header stands in the corner of each kind of frame."""


@dataclass(frozen=True, slots=True)
class SettledLayout:
    """The places and routes of everything."""

    places: PicturePlaces
    routes: tuple[Route, ...]


def settled(sketch: Sketch, places: PicturePlaces, routes: tuple[Route, ...]) -> SettledLayout:
    """Everything in its final place; no text touches a line, a box or other text."""
    boxes = dict(places.boxes)
    for frame in sketch.frames:
        if frame.shape != "diagram":
            surroundings = _Surroundings(_others(sketch, boxes, places, frame), routes)
            boxes[frame.header.key] = next(
                filter(surroundings.spare, _towards_corner(frame, places, boxes)),
                boxes[frame.header.key],
            )
    result = SettledLayout(replace(places, boxes=boxes), routes)
    for frame in sketch.frames:
        if frame.words:
            result = _with_words(sketch, frame, frame.words, result)
    return result


@dataclass(frozen=True, slots=True)
class _Surroundings:
    """What words must keep away from."""

    rectangles: list[Rectangle]
    routes: Sequence[Route]

    def spare(self, place: Rectangle) -> bool:
        """Whether nothing is near a place."""
        room = place.grown(CLEARANCE)
        return not any(room.meets(other) for other in self.rectangles) and not any(
            room.is_crossed(start, end) for start, end in self._lines()
        )

    def _lines(self) -> Iterator[tuple[Point, Point]]:
        return chain.from_iterable(pairwise(way) for route in self.routes for way in route.ways)


def _others(
    sketch: Sketch, boxes: dict[str, Rectangle], places: PicturePlaces, frame: SketchFrame
) -> list[Rectangle]:
    """All boxes but the header of a frame, and all frames but those around that header."""
    parents = {each.key: each.parent for each in sketch.frames}
    around = {frame.key}
    above = frame.parent
    while above:
        around.add(above)
        above = parents[above]
    return [
        *(place for key, place in boxes.items() if key != frame.header.key),
        *(place for key, place in places.frames.items() if key not in around),
    ]


def _towards_corner(
    frame: SketchFrame, places: PicturePlaces, boxes: dict[str, Rectangle]
) -> Iterator[Rectangle]:
    """Places for a header from the corner of its frame to where the layout put it."""
    header, around = boxes[frame.header.key], places.frames[frame.key]
    beside, above = INSETS[frame.shape]
    up = around.top + above - header.top
    goal = around.left + beside
    for step in range(int((header.left - goal) // STRIDE) + 1):
        yield header.moved(goal + step * STRIDE - header.left, up)


def _with_words(
    sketch: Sketch, frame: SketchFrame, words: Box, before: SettledLayout
) -> SettledLayout:
    """The words of a diagram near its upper corners; else in a strip that is added on top."""
    around = before.places.frames[frame.key]
    tab = before.places.boxes[frame.header.key]
    surroundings = _Surroundings(
        _others(sketch, before.places.boxes, before.places, frame), before.routes
    )
    candidates = _near_corners(words, around, tab)
    place = next(filter(surroundings.spare, candidates), None)
    if place:
        return SettledLayout(_placed(before.places, words, place), before.routes)
    grown = _with_strip(frame, words.height + 2 * CLEARANCE, before)
    return _words_in_strip(frame, words, grown)


def _near_corners(words: Box, around: Rectangle, tab: Rectangle) -> Iterator[Rectangle]:
    highest, lowest = tab.bottom + CLEARANCE, min(around.top + DEEPEST, around.bottom)
    steps = int((lowest - words.height - highest) // STRIDE) + 1
    room = around.width - words.width - 2 * CLEARANCE
    for left in (around.left, around.right - words.width - CLEARANCE) if room > 0 else ():
        for step in range(max(steps, 1)):
            top = highest + step * STRIDE
            if top + words.height < around.bottom:
                yield Rectangle(left, top, left + words.width, top + words.height)


def _with_strip(frame: SketchFrame, height: float, before: SettledLayout) -> SettledLayout:
    """The diagram's frame higher by a strip; lines from its upper border start higher, too."""
    places = before.places
    around = places.frames[frame.key]
    higher = Rectangle(around.left, around.top - height, around.right, around.bottom)
    routes = tuple(_lengthened(route, frame, around.top, height) for route in before.routes)
    tab = places.boxes[frame.header.key].moved(0, -height)
    frames = {**places.frames, frame.key: higher}
    boxes = {**places.boxes, frame.header.key: tab}
    return SettledLayout(replace(places, boxes=boxes, frames=frames), routes)


def _lengthened(route: Route, frame: SketchFrame, top: float, height: float) -> Route:
    """The route with every end at the frame's old upper border led on to the new one."""
    ways = []
    for stretch, way in zip(route.arrow.stretches, route.ways, strict=True):
        if stretch.tail.frame == frame.key and way[0][1] == top:
            way = _led_up(way, height)
        if stretch.head.frame == frame.key and way[-1][1] == top:
            way = _led_up(way[::-1], height)[::-1]
        ways.append(way)
    return Route(route.arrow, tuple(ways))


def _led_up(way: Polyline, height: float) -> Polyline:
    """The line starting higher, and going straight down from there."""
    (x, y), (next_x, _) = way[:2]
    return ((x, y - height), *(way[1:] if next_x == x else way))


def _words_in_strip(frame: SketchFrame, words: Box, before: SettledLayout) -> SettledLayout:
    """In the new strip stand only straight lines from the border: the words go between them."""
    around = before.places.frames[frame.key]
    tab = before.places.boxes[frame.header.key]
    surroundings = _Surroundings([], before.routes)
    place = next(filter(surroundings.spare, _along_strip(words, around, tab)))
    right = max(around.right, place.right + CLEARANCE)
    frames = {
        **before.places.frames,
        frame.key: Rectangle(around.left, around.top, right, around.bottom),
    }
    places = replace(before.places, frames=frames)
    return SettledLayout(_placed(places, words, place), before.routes)


def _along_strip(words: Box, around: Rectangle, tab: Rectangle) -> Iterator[Rectangle]:
    """Ever further to the right; behind the last line there is room for certain."""
    for step in range(int(around.width // STRIDE) + 2):
        left, top = around.left + step * STRIDE, tab.bottom + CLEARANCE
        yield Rectangle(left, top, left + words.width, top + words.height)


def _placed(places: PicturePlaces, words: Box, place: Rectangle) -> PicturePlaces:
    return replace(places, boxes={**places.boxes, words.key: place})


def with_tab(sketch: Sketch, places: PicturePlaces) -> PicturePlaces:
    """The places with the tab in the corner of the diagram's frame, which is made wide enough."""
    boxes, frames = dict(places.boxes), dict(places.frames)
    for frame in sketch.frames:
        if frame.shape == "diagram":
            around, tab = frames[frame.key], frame.header
            right = max(around.right, around.left + max(_widths(frame)) + 2 * CLEARANCE)
            frames[frame.key] = Rectangle(around.left, around.top, right, around.bottom)
            boxes[tab.key] = Rectangle(
                around.left, around.top, around.left + tab.width, around.top + tab.height
            )
    return replace(places, boxes=boxes, frames=frames)


def _widths(frame: SketchFrame) -> Iterable[float]:
    return (frame.header.width, frame.words.width if frame.words else 0)
