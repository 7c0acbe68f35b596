"""Exactly once and in order, from the text of a device to the sentence that is told.

The devices are invented; that one item chosen at will stands for all is Wolper 1986.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from modecheck.checks.judged import Judged
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.model.devices import read_device
from modecheck.product.observers import sent_at_once

PLAIN = Search(engine="plain")

STRAIGHT = """\
device: d
chips:
  hub:
    variables: {{asleep: bool}}
    states: [silent, sounding]
    rules:
      - {{in: silent, 'on': press, to: sounding}}
      - {{in: sounding, 'on': release, to: silent}}
      {hub}
    discards: [press, release]
actors:
  foot:
    states: [lifted, down]
    rules:
      - {{in: lifted, send: press via air, to: down}}
      - {{in: down, send: release via {second}, to: lifted}}
links:
  air: {{from: foot, to: hub, capacity: 2, carries: [press, release], when_full: wait{air}}}
  cord: {{from: foot, to: hub, capacity: 2, carries: [press, release], when_full: wait}}
{faults}
requirements:
  R:
    {{text: t, exactly_once: {{sent: [foot.press, foot.release],
     received: [hub.press, hub.release]}}{need}}}
"""
"""A foot switch that is heard by a hub: by radio, or the release through a cord."""

BY_TILE = """\
device: d
chips:
  tile:
    variables: {{held: {{range: [0, 9]}}, deaf: bool}}
    states: [s]
    rules: [{tile}]
    discards: [press, release]
  hub: {{states: [s], discards: [press, release]}}
actors:
  foot: {{states: [lifted, down], rules: [{{in: lifted, send: press, to: {then}}},
          {{in: down, send: release, to: lifted}}]}}
links:
  contact: {{from: foot, to: tile, carries: [press, release], when_full: wait}}
  air: {{from: tile, to: hub, carries: [press, release], when_full: {full}}}
requirements:
  R:
    {{text: t, exactly_once: {{sent: [foot.press, foot.release],
     received: [hub.press, hub.release]}}{need}}}
"""
"""The same with a tile between them, which has to pass on what it hears."""


def judged(
    template: str, folder: Path, parts: Mapping[str, str], *, search: Search = PLAIN
) -> Judged:
    """The verdict on a device; what is not named is left out."""
    names = ("hub", "second", "air", "faults", "need", "tile", "then", "full")
    blank = dict.fromkeys(names, "") | {"second": "air", "then": "down", "full": "wait"}
    path = folder / "device.yaml"
    path.write_text(template.format(**(blank | dict(parts))), encoding="utf-8")
    (one,) = check([read_device(str(path))], search=search).requirements
    return one


def told(one: Judged) -> tuple[str, int]:
    """What is said of a broken requirement, without its sentence, and in how many steps."""
    assert one.finding is not None
    assert one.finding.trace is not None
    return one.finding.text.removeprefix("t: "), len(one.finding.trace.moves)


BUDGET = "faults: {{{0}: {{links: [air], at_most: 1}}}}"
CUT = "faults: {{power_cut: {{chips: [{0}], at_most: 1}}}}"
SLEEPS = "- {if: not asleep, do: [asleep = true]}"


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(
    "parts",
    [
        {},
        {"need": ", under_way: 2"},
        {"faults": CUT.format("foot")},
        {"air": ", can: [lose]", "need": ", may_lose: while hub.silent or hub.sounding"},
    ],
)
def test_what_arrives_once_and_in_order_is_fine(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    parts: dict[str, str],
    engine: EngineName,
) -> None:
    """Any number of presses, a sender that starts afresh, and loss where it is allowed."""
    monkeypatch.setenv("MODECHECK_CACHE", str(tmp_path))
    assert judged(STRAIGHT, tmp_path, parts, search=Search(engine=engine)).verdict == "holds"


@pytest.mark.parametrize(
    ("parts", "text", "steps"),
    [
        ({"air": ", can: [duplicate]"}, "hub receives press more often than it was sent", 4),
        ({"faults": BUDGET.format("duplicate")}, "hub receives press more often", 4),
        ({"second": "cord"}, "release arrives before what was sent earlier", 3),
        ({"need": ", under_way: 1"}, "more than 1 are in flight", 2),
    ],
)
def test_each_fault_is_told_for_what_it_is(
    tmp_path: Path, parts: dict[str, str], text: str, steps: int
) -> None:
    """Sent once and received twice; overtaken; more on their way than there may be."""
    said, length = told(judged(STRAIGHT, tmp_path, parts))
    assert text in said
    assert length == steps


@pytest.mark.parametrize(
    ("parts", "why", "steps"),
    [
        ({"air": ", can: [lose]"}, "the link loses it", 2),
        ({"faults": BUDGET.format("lose")}, "the link loses it", 2),
        ({"faults": CUT.format("hub")}, "power is cut", 2),
        ({"air": ", up_when: not hub.asleep", "hub": SLEEPS}, "the link is down", 2),
        (
            {
                "faults": BUDGET.format("lose"),
                "hub": SLEEPS,
                "need": ", may_lose: while hub.asleep",
            },
            "the link loses it",
            4,
        ),
    ],
)
def test_a_loss_is_told_with_its_cause(
    tmp_path: Path, parts: dict[str, str], why: str, steps: int
) -> None:
    """By a fault, with a link that is down, in a power cut; and outside of where it is allowed."""
    said, length = told(judged(STRAIGHT, tmp_path, parts))
    assert said == f"press over air is lost ({why})"
    assert length == steps


def test_what_a_chip_swallows_is_told_as_a_stuck_key(tmp_path: Path) -> None:
    """The press has arrived and the release never does, although no link lost anything."""
    one = judged(BY_TILE, tmp_path, {"tile": "{'on': press, send: press}"})
    assert told(one) == ("press arrives, but release never does", 5)


def test_what_is_never_passed_on_never_arrives(tmp_path: Path) -> None:
    """Nothing arrives at all."""
    one = judged(BY_TILE, tmp_path, {"tile": "{'on': release, do: [deaf = true]}"})
    assert told(one) == ("press or release never arrives", 2)


def test_more_than_the_links_hold_leave_it_undecided(tmp_path: Path) -> None:
    """A chip that keeps more itself than expected: the model has to say how many there may be."""
    keeps = "{'on': press, if: held < 6, do: [held += 1]}, "
    keeps += "{'on': press, do: [held = held]}, {if: held > 0, do: [held -= 1], send: press}"
    parts = {"tile": keeps, "then": "lifted"}
    one = judged(BY_TILE, tmp_path, parts)
    assert one.verdict == "undecided"
    assert "under_way" in one.remark


TOGETHER = """\
device: d
chips:
  tile: {{states: {{idle: {{rest: true}}, played: {{rest: true}}}}, rules: [{rules}]}}
  bridge: {{states: {{s: {{rest: true}}}}, rules: [{bridge}]}}
  hub: {{states: {{s: {{rest: true}}}}, discards: [press, release]}}
links:
  air: {{from: tile, to: hub, carries: [press, release], capacity: {capacity}, when_full: drop_new}}
requirements:
  R: {{text: t, exactly_once: {{sent: [tile.press, tile.release],
      received: [hub.press, hub.release]}}}}
"""
"""A tile that sends both in one step."""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(("capacity", "verdict"), [(1, "broken"), (2, "holds")])
def test_each_item_that_one_step_sends_has_to_arrive(
    tmp_path: Path, engine: EngineName, capacity: int, verdict: str
) -> None:
    """Not only the first of them: the second finds the link full."""
    path = tmp_path / "device.yaml"
    rule = "{in: idle, send: [press, release], to: played}"
    path.write_text(TOGETHER.format(rules=rule, bridge="", capacity=capacity), encoding="utf-8")
    (one,) = check([read_device(str(path))], search=Search(engine=engine)).requirements
    assert one.verdict == verdict
    if verdict == "broken":
        assert told(one) == ("release over air is lost (the link is full)", 1)


@pytest.mark.parametrize(("last", "most"), [("two", 2), ("three", 1)])
def test_what_follows_from_one_signal_is_sent_at_once(tmp_path: Path, last: str, most: int) -> None:
    """A rule and those that hear its signals, and theirs, act in one step; others do not."""
    rules = "{in: idle, signal: one, to: played}, {'on': one, signal: two, send: press}"
    rules += f", {{'on': {last}, send: release}}"
    bridge = "{'on': two, do: [], to: s}, {signal: three}"
    path = tmp_path / "device.yaml"
    path.write_text(TOGETHER.format(rules=rules, bridge=bridge, capacity=2), encoding="utf-8")
    device = read_device(str(path))
    exchange = device.requirements["R"].exchange
    assert exchange is not None
    assert sent_at_once(device, exchange) == most


HEARTBEAT = """\
device: a tile that never stops reporting
chips:
  tile: {states: [up], rules: [{send: here}]}
  hub: {states: [up], rules: [{'on': here}]}
links:
  air: {from: tile, to: hub, carries: [here], capacity: 2, when_full: wait CAN}
faults:
  lose: {links: [air], at_most: 1}
requirements:
  R: {text: t, exactly_once: {sent: tile.here, received: hub.here}MAY}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(
    ("can", "may", "verdict"),
    [("", "", "broken"), ("", ", may_lose: 'true'", "holds"), (", can: [duplicate]", "", "broken")],
)
def test_a_link_that_drops_one_is_seen_though_more_follow(
    tmp_path: Path, engine: EngineName, can: str, may: str, verdict: str
) -> None:
    """Reports cannot be told apart, so as long as more follow each of them seems to arrive, one
    later. A link that makes copies may lose one of them; here, the copy itself is one too many.
    """
    path = tmp_path / "device.yaml"
    text = HEARTBEAT.replace(" CAN", can).replace("MAY", may)
    path.write_text(text, encoding="utf-8")
    (one,) = check([read_device(str(path))], search=Search(engine=engine)).requirements
    assert one.verdict == verdict
    if verdict == "broken" and not can:
        assert told(one) == ("here over air is lost (the link loses it)", 2)
