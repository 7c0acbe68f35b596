"""Lines that are pulled taut, and bands that are set anew: nothing changes sides."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from modecheck.draw import Drawing, layout
from modecheck.draw.compaction import BAND, compacted
from modecheck.draw.detours import detour
from modecheck.draw.geometry import Point, Rectangle, triangle_meets
from modecheck.draw.header_places import with_tab
from modecheck.draw.layout import PicturePlaces
from modecheck.draw.sketch import Box, Sketch, SketchFrame
from modecheck.draw.statechart import statechart
from modecheck.draw.taut import eased, is_free, taut
from modecheck.draw.ties import APART, CORNER, Tie, span_of, spread
from tests.draw.random_charts import random_chip

NUMBERS = st.integers(0, 100)
POINTS = st.tuples(NUMBERS.map(float), NUMBERS.map(float))


@st.composite
def _rectangles(draw: st.DrawFn) -> Rectangle:
    left, top = draw(NUMBERS), draw(NUMBERS)
    return Rectangle(left, top, left + draw(st.integers(1, 30)), top + draw(st.integers(1, 30)))


def _length(points: list[Point] | tuple[Point, ...]) -> float:
    return sum(math.dist(start, end) for start, end in pairwise(points))


@given(st.lists(_rectangles(), max_size=6), st.lists(POINTS, min_size=2, max_size=6))
def test_a_taut_line_is_free_and_not_longer(
    rectangles: list[Rectangle], points: list[Point]
) -> None:
    """Pulling a free line keeps its ends, lets it touch nothing, and never makes it longer."""
    assume(is_free(points, rectangles))
    pulled = [bend.at for bend in taut(tuple(points), rectangles)]
    assert (pulled[0], pulled[-1]) == (points[0], points[-1])
    assert is_free(pulled, [rectangle.grown(-0.05) for rectangle in rectangles])
    assert _length(pulled) <= _length(points) + 1e-6


@given(st.lists(_rectangles(), max_size=8), st.lists(POINTS, min_size=2, max_size=9))
def test_a_taut_line_cannot_be_pulled_further(
    rectangles: list[Rectangle], points: list[Point]
) -> None:
    """Pulling twice is pulling once."""
    assume(is_free(points, rectangles))
    once = tuple(bend.at for bend in taut(tuple(points), rectangles))
    twice = tuple(bend.at for bend in taut(once, rectangles))
    assert _length(twice) == pytest.approx(_length(once), abs=0.1)


def test_a_bend_eases_off_only_as_far_as_there_is_room() -> None:
    """Bends go away from their corner, and stop short of the next box."""
    box, next_box = Rectangle(10, 10, 90, 90), Rectangle(10, -30, 90, 3)
    bends = taut(((0.0, 40.0), (10.0, 5.0), (110.0, 9.0)), [box])
    assert eased(bends, [4], [box])[1] == (6, 6)
    assert eased(bends, [8], [box, next_box])[1] == (6, 6)
    assert is_free(eased(bends, [8], [box, next_box]), [box, next_box])


def test_a_line_that_touches_a_corner_does_not_slip_over_it() -> None:
    """A line may lie on a corner but for a hair; when its end moves, it bends there."""
    box = Rectangle(0, 100, 50, 200)
    over_the_corner = ((30.0, 80.005), (70.0, 120.005))
    assert is_free(over_the_corner, [box])
    pulled = [bend.at for bend in taut(((20.0, 80.005), *over_the_corner), [box])]
    assert pulled == [(20.0, 80.005), (50, 100), (70.0, 120.005)]


def test_a_detour_goes_around() -> None:
    """The shortest way around a wall passes its nearer end, and there is none out of a cage."""
    wall = Rectangle(10, -100, 20, 30)
    assert detour((0, 0), (30, 0), [wall]) == ((0, 0), (10, 30), (20, 30), (30, 0))
    cage = [
        Rectangle(-30, -30, 30, -20),
        Rectangle(-30, 20, 30, 30),
        Rectangle(-30, -30, -20, 30),
        Rectangle(20, -30, 30, 30),
    ]
    assert detour((0, 0), (50, 0), cage) is None


def test_ends_at_one_side_keep_apart() -> None:
    """Ends that wish for the same spot are spread in the order from which they come."""
    box = Rectangle(0, 0, 100, 40)
    aims = [(50.0, -30.0), (200.0, -30.0), (-100.0, -30.0), (50.0, -80.0)]
    ties = [Tie("box", box, "top", span_of(box, "top"), aim, 0) for aim in aims]
    for tie in ties:
        tie.settle()
    spread(ties)
    ends = sorted(tie.at for tie in ties)
    assert all(after - before >= APART for before, after in pairwise(ends))
    assert ends[0] >= CORNER
    assert ends[-1] <= 100 - CORNER
    assert [tie.aim[0] for tie in ties] == [-100, 50, 50, 200]


def test_many_ends_share_a_short_side() -> None:
    """Where there is too little room, ends are as far apart as the side allows."""
    box = Rectangle(0, 0, 40, 40)
    ties = [Tie("box", box, "top", span_of(box, "top"), (20, -9), 20) for _ in range(5)]
    spread(ties)
    assert [tie.at for tie in ties] == pytest.approx([10, 15, 20, 25, 30])


def test_a_line_arrives_across_a_side_and_not_along_it() -> None:
    """What comes in nearly level ends at the nearer upright side."""
    box = Rectangle(0, 0, 100, 40)
    tie = Tie("box", box, "top", span_of(box, "top"), (300, -10), 50, turns=True)
    tie.settle()
    assert tie.side == "right"
    assert tie.point[0] == 100


def test_a_line_stays_on_its_side_of_a_box() -> None:
    """A string around a box does not slip to the other side, though that were shorter."""
    box = Rectangle(10, 0, 20, 100)
    above = ((0.0, 50.0), (15.0, -30.0), (30.0, 50.0))
    under = ((0.0, 40.0), (15.0, 130.0), (30.0, 40.0))
    assert [bend.at for bend in taut(above, [box])][1:-1] == [(10, 0), (20, 0)]
    assert [bend.at for bend in taut(under, [box])][1:-1] == [(10, 100), (20, 100)]


def test_needless_bends_go() -> None:
    """Without a box in between, a line becomes straight."""
    way = ((0.0, 0.0), (50.0, 80.0), (90.0, -20.0), (100.0, 0.0))
    assert [bend.at for bend in taut(way, [])] == [(0.0, 0.0), (100.0, 0.0)]


@given(st.tuples(POINTS, POINTS, POINTS), _rectangles())
def test_a_triangle_meets_what_holds_one_of_its_points(
    triangle: tuple[Point, Point, Point], rectangle: Rectangle
) -> None:
    """Any point of a triangle inside a rectangle shows that the two meet."""
    assume(abs(_area(*triangle)) > 1)
    shares = ((0.2, 0.3, 0.5), (0.6, 0.2, 0.2), (0.1, 0.8, 0.1))
    inner = [
        (
            sum(share * corner[0] for share, corner in zip(mix, triangle, strict=True)),
            sum(share * corner[1] for share, corner in zip(mix, triangle, strict=True)),
        )
        for mix in shares
    ]
    if any(rectangle.holds(point) for point in inner):
        assert triangle_meets(triangle, rectangle)


def _area(one: Point, two: Point, three: Point) -> float:
    return (two[0] - one[0]) * (three[1] - one[1]) - (two[1] - one[1]) * (three[0] - one[0])


def test_setting_bands_anew_keeps_the_order(every_drawing: list[Drawing]) -> None:
    """What stood above something it overlaps sideways still does, and nothing meets."""
    for drawing in every_drawing:
        sketch = drawing.sketch
        before = layout.laid_out(drawing.name, drawing.dot, 0)
        after = compacted(sketch, before)
        for one, two in combinations(before.boxes, 2):
            if before.boxes[one].bottom <= before.boxes[two].top:
                sideways = before.boxes[one].left < before.boxes[two].right
                if sideways and before.boxes[two].left < before.boxes[one].right:
                    assert after.boxes[one].bottom <= after.boxes[two].top + 1e-6
            assert not after.boxes[one].grown(-0.1).meets(after.boxes[two].grown(-0.1))


def test_setting_bands_anew_lets_no_line_touch_a_box(every_drawing: list[Drawing]) -> None:
    """A line touches no box that it did not touch in the layout, which is seldom perfect: routes
    are drawn taut around boxes later.
    """
    touched_before = 0
    for drawing in every_drawing:
        before = layout.laid_out(drawing.name, drawing.dot, 0)
        touched = set(_touched(drawing.sketch, before))
        touched_before += len(touched)
        assert set(_touched(drawing.sketch, compacted(drawing.sketch, before))) <= touched
    assert touched_before <= 4


def _touched(sketch: Sketch, places: PicturePlaces) -> Iterator[tuple[str, str]]:
    """Lines with the boxes that they touch, their ends excepted."""
    for arrow in sketch.arrows:
        for stretch in arrow.stretches:
            for key, place in places.boxes.items():
                away = key not in (stretch.tail.box, stretch.head.box)
                if away and not is_free(places.ways[stretch.key], [place.grown(-0.6)]):
                    yield stretch.key, key


def test_frames_hold_their_content_when_everything_has_moved(
    every_drawing: list[Drawing], tmp_path: Path
) -> None:
    """No box and no inner frame sticks out of its frame, and the foot is near."""
    random = [Drawing(statechart(random_chip(tmp_path, seed))) for seed in range(25)]
    for drawing in [*every_drawing, *random]:
        sketch = drawing.sketch
        raw = layout.laid_out(drawing.name, drawing.dot, 0)
        places = with_tab(sketch, compacted(sketch, raw))
        for frame in sketch.frames:
            inside = [
                places.boxes[b.key]
                for b in sketch.every_box
                if b.frame == frame.key and b.key in places.boxes
            ]
            inside += [
                places.frames[each.key] for each in sketch.frames if each.parent == frame.key
            ]
            around = places.frames[frame.key].grown(0.01)
            for place in inside:
                assert around.left < place.left
                assert place.right < around.right
                assert around.top < place.top
                assert place.bottom < around.bottom
            assert around.bottom - max(place.bottom for place in inside) <= 2 * BAND + 40


def test_an_inner_frame_never_grows_into_what_stands_below_it() -> None:
    """Flat lines get room in an inner frame only as far as it has room to spare."""

    def box(key: str, frame: str) -> Box:
        return Box(key, "state", frame)

    frames = (
        SketchFrame("outer", "", "diagram", box("tab", "")),
        SketchFrame("inner", "outer", "composite", box("header", "")),
    )
    boxes = (box("high", "inner"), box("low", "inner"), box("below", "outer"))
    places = layout.PicturePlaces(
        {
            "high": Rectangle(20, 20, 60, 60),
            "low": Rectangle(20, 60 + BAND, 60, 120),
            "below": Rectangle(20, 150, 60, 180),
        },
        {"outer": Rectangle(0, 0, 400, 190), "inner": Rectangle(10, 10, 390, 120 + BAND)},
        {f"line {number}": ((100, 62), (300, 72)) for number in range(9)},
    )
    after = compacted(Sketch("test", "test", boxes, (), frames), places)
    assert after.frames["inner"].bottom <= after.boxes["below"].top
    assert after.boxes["low"].top == places.boxes["low"].top
