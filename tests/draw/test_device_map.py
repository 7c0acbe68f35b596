"""The map of a device: every chip, actor, link, pairing and signal, each with its own sign."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from modecheck.checks.traffic import traffic_of
from modecheck.draw.device_map import LONGEST_ABOUT, device_map, device_map_in, first_sentence
from modecheck.draw.gallery import Drawing, render_svg
from modecheck.draw.palette import STROKES
from modecheck.engine.search.exploration import explore
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from tests.draw.conftest import Pictured
from tests.draw.making import device_of
from tests.draw.reading_svg import Picture, squeezed, title_of, words_of
from tests.models.bundled import STARTER, TANDEM, verdict_on


def test_chips_and_actors_have_different_shapes(stage: Device, stage_picture: Pictured) -> None:
    """A chip is a rectangle with pins, an actor a capsule with a stick figure."""
    picture = stage_picture("device")
    chips = {words_of(group)[0]: group for group in picture.groups("chip")}
    actors = {words_of(group)[0]: group for group in picture.groups("actor")}
    assert set(chips) == {name for name, chip in stage.chips.items() if not chip.actor}
    assert set(actors) == {"player"}
    signs = {node.attrib.get("class") for node in actors["player"].iter()}
    assert "figure" in signs
    assert "pins" in {node.attrib.get("class") for node in chips["hub"].iter()}


def test_every_link_is_an_arrow_with_its_label(stage: Device, stage_picture: Pictured) -> None:
    """A link's label names it, its medium, its capacity, and all messages that it carries."""
    picture = stage_picture("device")
    arrows = {title_of(group): group.attrib["class"] for group in picture.groups("arrow")}
    for link in stage.links.values():
        kind = arrows[f"link {link.name}: {link.sender} to {link.receiver}"]
        assert kind == f"arrow {link.medium if link.medium in STROKES else 'other'}"
        assert squeezed(f"{link.name}{link.medium}, capacity {link.capacity}") in picture.words
        for message in link.carries:
            assert message in picture.words


def test_what_a_link_does_to_messages_is_told(tmp_path: Path) -> None:
    """Loss is told where the link or the faults declare it; so is what is not the default."""
    device = device_of(
        tmp_path,
        """
        device: test
        chips:
          a: {states: [here], rules: [{send: x via one}, {send: x via two}]}
          b: {states: [here], rules: [{on: x}]}
        links:
          one: {from: a, to: b, carries: [x], can: [duplicate]}
          two: {from: a, to: b, carries: [x], when_down: hold, when_full: drop_old}
        faults: {lose: {links: [one, two], at_most: 1}}
        """,
    )
    words = Picture(render_svg(Drawing(device_map(device)))).words
    assert "oneinternal,capacity1carriesxcanloseandduplicate" in words
    assert "twointernal,capacity1carriesxcanlosewhendown:holdwhenfull:drop_old" in words


def test_media_differ_in_their_lines() -> None:
    """No two media have the same width and dashes: they differ in print without colours."""
    looks = {(STROKES[name].width, STROKES[name].dashes) for name in _LINES}
    assert len(looks) == len(_LINES)


_LINES = ("internal", "cable", "radio", "bluetooth", "other", "pairing", "signal")


def test_pairings_join_both_ends(stage_picture: Pictured) -> None:
    """A pairing is a dotted line without a tip between the two chips that keep the key."""
    picture = stage_picture("device")
    pairings = [group for group in picture.groups("arrow") if "pairing" in group.attrib["class"]]
    assert [title_of(group) for group in pairings] == [
        "pairing front_pair: front_tile.bond and hub.front_bond",
        "pairing rear_pair: rear_tile.bond and hub.rear_bond",
    ]
    for group in pairings:
        assert {node.attrib["class"] for node in group if "class" in node.attrib} == {"line"}


def test_signals_lead_from_who_signals_to_who_hears(stage: Device, stage_picture: Pictured) -> None:
    """One thin arrow for each pair, labelled with the signals that the second has a rule for."""
    titles = [title for title, _ in stage_picture("device").lines]
    assert "signals from player to hub" in titles
    assert "signals from front_tile to hub" in titles
    assert "signals from player to host" not in titles
    sketch = device_map(stage)
    label = next(a.label for a in sketch.arrows if a.key == "signal-player-front_tile")
    assert label
    assert [line.text for block in label.blocks for line in block.lines] == [
        "factory_reset, stepped_on"
    ]


def test_the_same_signals_are_named_once(tmp_path: Path) -> None:
    """Who gives the same signals to the same chips shares an arrow, with a line for each end."""
    device = device_of(
        tmp_path,
        """
        device: test
        chips:
          one: {states: [here], rules: [{signal: x}]}
          two: {states: [here], rules: [{signal: x}]}
          three: {states: [here], rules: [{on: x}]}
          four: {states: [here], rules: [{on: x}]}
        """,
    )
    (arrow,) = device_map(device).arrows
    assert arrow.hint == "signals from one, two to three, four"
    picture = Picture(render_svg(Drawing(device_map(device))))
    (group,) = picture.groups("arrow")
    kinds = [node.attrib["class"] for node in group if "class" in node.attrib]
    assert sorted(kinds) == ["line", "line", "line", "line", "open", "open"]


def test_pins_stay_inside_their_chip(stage_picture: Pictured) -> None:
    """Arrows end outside of boxes, so none of them crosses a pin."""
    picture = stage_picture("device")
    for group in picture.groups("chip"):
        box = picture.outline(group)
        pins = next(node for node in group.iter() if node.attrib.get("class") == "pins")
        strokes = re.findall(r"M([-\d.]+) [-\d.]+h([-\d.]+)", pins.attrib["d"])
        assert strokes
        for start, length in strokes:
            assert box.left <= float(start) + min(float(length), 0)
            assert float(start) + max(float(length), 0) <= box.right


def test_a_message_of_that_name_is_no_signal(tmp_path: Path) -> None:
    """Who waits for a message from a link does not hear a signal of the same name."""
    device = device_of(
        tmp_path,
        """
        device: test
        chips:
          a: {states: [here], rules: [{signal: x}, {send: x via one}]}
          b: {states: [here], rules: [{on: x via one}]}
          c: {states: [here], rules: [{on: x}]}
        links: {one: {from: a, to: b, carries: [x]}}
        """,
    )
    hints = {arrow.hint for arrow in device_map(device).arrows}
    assert hints == {"link one: a to b", "signals from a to c"}


def test_the_legend_shows_the_media_that_occur(stage_picture: Pictured) -> None:
    """Each kind of line in the picture is explained, and no other."""
    legend = stage_picture("device").legend
    for words in ("by cable", "by radio", "by Bluetooth", "another medium", "pairing", "signal"):
        assert words in legend
    assert "internal" not in legend


def test_the_variant_is_named(stage_picture: Pictured) -> None:
    """A picture of one variant says which."""
    assert "on_unplug=stay" in stage_picture("device").words


def test_links_without_traffic_in_a_mode_are_thin_and_say_so() -> None:
    """Through the cable the starter's radio is silent; what carries something keeps its stroke."""
    device = read_device(str(STARTER))
    traffic = traffic_of(explore(compose(device)))
    picture = Picture(render_svg(Drawing(device_map_in(device, "wired", traffic))))
    kinds = {title_of(group): group.attrib["class"] for group in picture.groups("arrow")}
    assert kinds == {
        "link cord: pedal to receiver": "arrow cable",
        "link air: pedal to receiver, no traffic": "arrow idle",
    }
    assert "cordcable,carriespicture(value)" in picture.words
    assert "airradio,notraffic" in picture.words
    assert "link without traffic in this mode" in picture.legend
    assert "withoutalink:player" in picture.words


@pytest.mark.thorough
def test_pairings_in_a_mode_tell_whether_both_hold_one_key() -> None:
    """Tandem plays by cable whether or not the tablet is paired, and its tiles always are."""
    explored = verdict_on(TANDEM).explored[0]
    traffic = traffic_of(explored.exploration)
    picture = Picture(render_svg(Drawing(device_map_in(explored.device, "wired", traffic))))
    assert "front_pairtheendsalwaysholdthesamekey" in picture.words
    assert "tablet_pairtheendsdonotalwaysholdthesamekey" in picture.words


def test_long_descriptions_are_shortened() -> None:
    """A box holds the first sentence, or its first words and an ellipsis."""
    assert first_sentence("Short. And more.") == "Short"
    long = first_sentence("word " * 60)
    assert long.endswith("word …")
    assert len(long) <= LONGEST_ABOUT + 2
