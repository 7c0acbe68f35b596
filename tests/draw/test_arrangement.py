"""The places of everything: lines clear of boxes, their ends apart, headers in their corners."""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.draw import Drawing, layout
from modecheck.draw.arrangement import arranged
from modecheck.draw.geometry import Curve, Point, Rectangle, flattened, is_clear
from modecheck.draw.layout import LaidLine, PicturePlaces
from modecheck.draw.line_ends import APART, spread
from modecheck.draw.sketch import Arrow, Box, End, Sketch
from modecheck.draw.statechart import statechart
from tests.draw.random_charts import random_chip

POINTS = st.tuples(st.integers(0, 99).map(float), st.integers(0, 99).map(float))

KINKED = 97
"""The number of a random chart in which a smooth line to a border would pass over a box."""


@given(st.lists(POINTS, min_size=4, max_size=4), st.floats(0, 1))
def test_straight_pieces_stay_with_their_curve(controls: list[Point], share: float) -> None:
    """Every point of a curve, by de Casteljau's construction, is near one of its pieces."""
    curve = list(controls)
    points = flattened(tuple(controls))
    assert (points[0], points[-1]) == (controls[0], controls[-1])
    while len(curve) > 1:
        curve = [
            (one[0] + (two[0] - one[0]) * share, one[1] + (two[1] - one[1]) * share)
            for one, two in pairwise(curve)
        ]
    assert min(math.dist(curve[0], point) for point in points) < 30


@given(st.lists(POINTS, min_size=4, max_size=4), POINTS)
def test_a_curve_is_clear_of_what_none_of_its_points_is_in(
    controls: list[Point], corner: Point
) -> None:
    """A box that holds a point of a curve well inside is never taken for clear of it."""
    box = Rectangle(*corner, corner[0] + 20, corner[1] + 20)
    if any(box.grown(-1).holds(point) for point in flattened(tuple(controls))):
        assert not is_clear(tuple(controls), [box])
    far = Rectangle(200, 200, 220, 220)
    assert is_clear(tuple(controls), [far])


def _straight(start: Point, end: Point) -> Curve:
    return (start, start, end, end)


def _lines_to_a_box(starts: list[Point], ends: list[Point]) -> tuple[Sketch, PicturePlaces]:
    boxes = (Box("goal", "state", ""), *(Box(f"from {n}", "start", "") for n in range(len(starts))))
    arrows = tuple(
        Arrow(f"arrow {n}", (End(f"from {n}"),), (End("goal"),), None) for n in range(len(starts))
    )
    places = {"goal": Rectangle(0, 0, 100, 40)}
    lines = {
        f"arrow {n}.1": LaidLine(_straight(start, (end[0], end[1] - 9)), end)
        for n, (start, end) in enumerate(zip(starts, ends, strict=True))
    }
    return Sketch("test", "test", boxes, arrows, ()), PicturePlaces(places, {}, lines)


def test_ends_at_one_side_keep_apart() -> None:
    """Tips at one spot are spread in the order from which they come, tips first."""
    starts = [(10.0, -60.0), (50.0, -60.0), (90.0, -60.0)]
    sketch, places = _lines_to_a_box(starts, [(49.0, 0.0), (50.0, 0.0), (51.0, 0.0)])
    spread_lines = spread(sketch, places.boxes, places.lines)
    tips = [spread_lines[f"arrow {n}.1"].tip for n in range(3)]
    assert tips == [(50 - APART, 0), (50, 0), (50 + APART, 0)]
    for number, start in enumerate(starts):
        assert spread_lines[f"arrow {number}.1"].curve[0] == start


def test_many_ends_share_a_short_side() -> None:
    """Where there is too little room, ends are as far apart as the side allows."""
    count = 21
    sketch, places = _lines_to_a_box([(50.0, -60.0)] * count, [(50.0, 0.0)] * count)
    tips = [line.tip for line in spread(sketch, places.boxes, places.lines).values()]
    xs = sorted(tip[0] for tip in tips if tip)
    gaps = [after - before for before, after in pairwise(xs)]
    assert gaps == pytest.approx([gaps[0]] * (count - 1))
    assert xs[0] > 0
    assert xs[-1] < 100


def test_an_end_is_not_moved_into_a_box() -> None:
    """A line stays where it is if its end, moved apart, would lead it over something."""
    starts, ends = [(45.0, -60.0), (55.0, -60.0)], [(50.0, 0.0), (50.0, 0.0)]
    sketch, places = _lines_to_a_box(starts, ends)
    boxes = (*sketch.boxes, Box("wall", "state", ""))
    walled = Sketch("test", "test", boxes, sketch.arrows, ())
    where = {**places.boxes, "wall": Rectangle(51, -30, 99, -10)}
    lines = spread(walled, where, places.lines)
    assert lines["arrow 1.1"] == places.lines["arrow 1.1"]


def test_a_line_to_a_border_takes_a_kink_rather_than_a_box(tmp_path: Path) -> None:
    """A bend at its port would lead a line of this chart over a state; with a kink it is clear."""
    drawing = Drawing(statechart(random_chip(tmp_path, KINKED)))
    sketch = drawing.sketch
    places = arranged(sketch, drawing.dot)
    boxes = [places.boxes[key] for key in sketch.obstacles]
    assert all(is_clear(line.curve, boxes) for line in places.lines.values())
    raw = layout.laid_out("test", drawing.dot, 0)
    lengths = {key: len(line.curve) for key, line in raw.lines.items()}
    assert any(len(line.curve) > lengths[key] for key, line in places.lines.items())


def test_frames_hold_their_content(every_drawing: list[Drawing], tmp_path: Path) -> None:
    """No box and no inner frame sticks out of its frame, and no two boxes meet."""
    random = [Drawing(statechart(random_chip(tmp_path, seed))) for seed in range(25)]
    for drawing in [*every_drawing, *random]:
        sketch = drawing.sketch
        places = arranged(sketch, drawing.dot)
        boxes = [box for box in sketch.every_box if box.shape not in ("port", "tab", "words")]
        for one, two in combinations(boxes, 2):
            assert not places.boxes[one.key].grown(-0.1).meets(places.boxes[two.key].grown(-0.1))
        for frame in sketch.frames:
            around = places.frames[frame.key].grown(0.01)
            inside = [places.boxes[box.key] for box in boxes if box.frame == frame.key]
            inside += [
                places.frames[each.key] for each in sketch.frames if each.parent == frame.key
            ]
            for place in inside:
                assert all(around.holds(corner) for corner in place.corners)


def test_nothing_stands_where_a_diagram_is_named(every_drawing: list[Drawing]) -> None:
    """The layout leaves room for the tab and the words below it, whatever the fonts."""
    for drawing in every_drawing:
        raw = layout.laid_out(drawing.name, drawing.dot, 0)
        (frame, *_) = drawing.sketch.frames
        around = raw.frames[frame.key]
        width, height = frame.heading
        corner = Rectangle(around.left, around.top, around.left + width, around.top + height)
        assert not any(corner.meets(place) for place in raw.boxes.values())
