"""Sequence charts: lanes, messages, losses, timers and loops, in the notation of ITU-T Z.120.

The notation is checked from memory of the recommendation: a head and a bar for each lane, hexagons
for conditions, a filled dot for a lost message, a ring for a found one, hourglasses for timers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.draw.sequence_chart import SequenceChart, sequence_svg
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from modecheck.scenario.sequence import ScenarioSequence, sequence_of
from modecheck.scenario.traces import Trace, trace_to
from tests.draw.flaws import flaws
from tests.draw.reading_svg import SVG, Picture, title_of, words_of
from tests.generation.devices import Drawn, devices
from tests.scenario.test_sequence import AGAIN, CALL, LOSE, told, wandering


def picture_of(scenario: ScenarioSequence, *about: str) -> Picture:
    return Picture(sequence_svg(SequenceChart("scenario", "a scenario", about, scenario)))


@given(devices(), st.lists(st.integers(0, 40), min_size=1, max_size=25))
@settings(max_examples=settings().max_examples * 3 // 5)
def test_nothing_overlaps_in_charts_of_random_ways(drawn: Drawn, steps: list[int]) -> None:
    """Whatever happens on the way, no words meet, and no line passes over words or boxes."""
    space = explore(compose(drawn.read()), max_states=1)
    scenario = sequence_of(wandering(space, steps))
    assert list(flaws(picture_of(scenario))) == []


@given(devices(timed=True), st.lists(st.integers(0, 40), min_size=1, max_size=25))
@settings(max_examples=settings().max_examples // 4)
def test_nothing_overlaps_where_time_passes(drawn: Drawn, steps: list[int]) -> None:
    """Where lanes are broken off, the words beside them and messages under way stay apart."""
    space = explore(compose(drawn.read()), max_states=1)
    scenario = sequence_of(wandering(space, steps))
    assert list(flaws(picture_of(scenario))) == []


@given(devices(), st.lists(st.integers(0, 40), min_size=1, max_size=12))
@settings(max_examples=settings().max_examples // 5)
def test_lines_between_steps_pass_over_nothing(drawn: Drawn, steps: list[int]) -> None:
    """The thin line between two steps, and the lanes themselves, leave all words alone."""
    space = explore(compose(drawn.read()), max_states=1)
    picture = picture_of(sequence_of(wandering(space, steps)))
    for node in picture.root.iter(f"{SVG}path"):
        if node.attrib.get("class") == "cut":
            heights = {
                float(part.split("H")[0].split()[1]) for part in node.attrib["d"].split("M")[1:]
            }
            for text in picture.texts:
                assert not any(text.place.top < y < text.place.bottom for y in heights), text.words


def marked(picture: Picture, name: str) -> Iterator[Element]:
    return (node for node in picture.root.iter() if f"data-{name}" in node.attrib)


def test_each_chip_has_a_lane_and_actors_differ() -> None:
    """Heads name the lanes, from left to right in the order of the device file."""
    picture = picture_of(told(CALL))
    lanes = picture.groups("lane")
    assert [lane.attrib["data-chip"] for lane in lanes] == ["bridge", "hub"]
    assert [words_of(lane) for lane in lanes] == [["bridge"], ["hub"]]


def test_steps_bear_their_numbers_and_sentences() -> None:
    """What a page needs to step through a chart."""
    scenario = told(CALL, LOSE, AGAIN)
    steps = picture_of(scenario).groups("step")
    assert [step.attrib["data-step"] for step in steps] == ["0", "1", "2", "3"]
    assert [title_of(step) for step in steps][1:] == list(scenario.sentences)
    assert [words_of(step)[0] for step in steps[1:]] == ["1", "2", "3"]


def test_conditions_name_chip_and_state() -> None:
    """Each hexagon bears the state in words and as a mark."""
    for group in picture_of(told(CALL, LOSE, AGAIN)).groups("condition"):
        assert words_of(group) == [group.attrib["data-state"]]
        assert group.attrib["data-chip"] in ("bridge", "hub")


def test_a_message_runs_from_lane_to_lane_and_never_up() -> None:
    """Its line starts at the sender's axis, ends at the receiver's, and says when."""
    space = explore(compose(told(CALL).product.device))
    way = trace_to(space, space.state_count - 1)
    picture = picture_of(sequence_of(way))
    lanes = {lane.attrib["data-chip"]: _axis(lane) for lane in picture.groups("lane")}
    arrows = [group for group in picture.groups("arrow") if "data-until" in group.attrib]
    lines = {title: points for title, points in picture.lines if "hello" in title}
    assert arrows
    assert lines
    for points in lines.values():
        assert points[0][0] == pytest.approx(lanes["bridge"], abs=0.1)
        assert all(before[1] <= after[1] for before, after in pairwise(points))
    for arrow in arrows:
        assert int(arrow.attrib["data-step"]) <= int(arrow.attrib["data-until"])


def _axis(lane: Element) -> float:
    path = next(node for node in lane.iter(f"{SVG}path") if node.attrib["class"] == "axis")
    return float(path.attrib["d"][1:].split()[0])


def test_lost_and_found_messages_have_signs_of_their_own() -> None:
    """A filled dot ends a lost message, a ring begins one that was sent before; both explained."""
    lost = picture_of(told(CALL, LOSE))
    (arrow,) = [group for group in lost.groups("arrow") if "data-until" in group.attrib]
    assert [node.attrib["class"] for node in arrow.iter(f"{SVG}circle")] == ["start"]
    assert "does not arrive" in lost.legend
    assert "sent before" not in lost.legend
    found = picture_of(told(CALL, LOSE, skipped=1))
    (arrow,) = [group for group in found.groups("arrow") if "data-until" in group.attrib]
    assert {node.attrib["class"] for node in arrow.iter(f"{SVG}circle")} == {"start", "ring"}
    assert "sent before" in found.legend


def test_a_timer_is_an_hourglass_with_its_time() -> None:
    """The legend explains it only where there is one."""
    assert [words_of(group) for group in picture_of(told(CALL)).groups("timer")] == [["20 ms"]]
    assert "timer" not in picture_of(told(CALL, LOSE, skipped=1)).legend


def test_a_loop_stands_around_the_steps_that_repeat() -> None:
    """The frame holds all of them and none before."""
    scenario = replace(told(CALL, LOSE, AGAIN, LOSE), loop_from=2)
    picture = picture_of(scenario)
    (loop,) = picture.groups("loop")
    frame = picture.outline(loop)
    assert "loop <1, inf>" in words_of(loop)
    numbers = {text.words: text.place for text in picture.texts if text.words in "1234"}
    assert [frame.holds(numbers[name].centre) for name in "1234"] == [False, False, True, True]
    assert list(flaws(picture)) == []


def test_a_long_chart_repeats_its_heads() -> None:
    """Whoever reads the middle of it sees whose lane is whose."""
    picture = picture_of(told(*[CALL, LOSE, AGAIN, LOSE] * 8))
    heads = [group for group in picture.groups("head") if words_of(group) == ["hub"]]
    tops = [picture.outline(head).top for head in heads]
    assert len(tops) > 2
    assert all(after - before < 900 for before, after in pairwise(tops))


def test_the_same_scenario_gives_the_same_bytes() -> None:
    """Nothing depends on the moment."""
    one = SequenceChart("s", "t", (), told(CALL, LOSE))
    assert sequence_svg(one) == sequence_svg(SequenceChart("s", "t", (), told(CALL, LOSE)))


def test_a_way_without_steps_can_be_drawn() -> None:
    """Where the very start is wrong, the chart shows the start."""
    scenario = sequence_of(Trace(told(CALL).product, ()), chips=["hub"])
    picture = picture_of(scenario, "wrong from the start")
    assert [lane.attrib["data-chip"] for lane in picture.groups("lane")] == ["hub"]
    assert list(flaws(picture)) == []
