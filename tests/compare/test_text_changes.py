"""What changed in the text of a model: parts that came, went, changed, moved or were renamed."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.compare.described import parts_of_device
from modecheck.compare.renamings import renaming_between
from modecheck.compare.text_changes import Change, text_changes
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.compare.changing import MODELS, Edits, read_edited, starter
from tests.generation.devices import device_from


def told(changes: tuple[Change, ...]) -> list[str]:
    """Each change in a line: what, the kind of part, and its names."""
    return [
        " ".join([one.what, one.name.kind, *(str(name) for name in (one.old, one.new) if name)])
        for one in changes
    ]


RENAMINGS: dict[str, tuple[Edits, list[str]]] = {
    "state": (((r"\bchanging\b", "waiting"),), ["state receiver.changing receiver.waiting"]),
    "variable": (
        ((r"\bsounding\b", "heard_now"),),
        ["variable receiver.sounding receiver.heard_now"],
    ),
    "rule": (((r"hear_air:", "listen:"),), ["rule receiver.hear_air receiver.listen"]),
    "signal": (((r"\bplugged_in\b", "cord_in"),), ["signal plugged_in cord_in"]),
    "link": (((r"(\b|via )cord\b", r"\1wire"),), ["link cord wire"]),
    "message": (
        ((r"\bpicture\b(?=[:(]| via)", "view"),),
        ["message cord.picture cord.view", "message air.picture air.view"],
    ),
    "chip": (
        ((r"(?<=from: )pedal|(?<=  )pedal(?=:)|pedal(?=\.foot)", "switch"),),
        ["chip pedal switch"],
    ),
    "actor": (((r"\bplayer\b", "musician"),), ["chip player musician"]),
    "mode": (((r"(?m)^  wired:", "  by_wire:"),), ["mode wired by_wire"]),
    "requirement": (((r"\bheard\b(?=[:\]])", "is_heard"),), ["requirement heard is_heard"]),
}


@pytest.mark.parametrize("kind", RENAMINGS)
def test_a_renaming_and_nothing_else_is_told_as_one(kind: str, tmp_path: Path) -> None:
    """Also where the name stands in rules, conditions and links of other parts."""
    edits, expected = RENAMINGS[kind]
    changes = text_changes(starter(), read_edited(tmp_path / "new", edits)).changes
    assert told(changes) == [f"renamed {line}" for line in expected]


def test_several_renamings_at_once_are_found(tmp_path: Path) -> None:
    """A rule, the state that it leads to, the signal that it waits for, and its chip."""
    edits = (
        (r"\bchanging\b", "waiting"), (r"plugged:", "is_plugged:"), (r"\bplugged_in\b", "cord_in"),
        (r"(?<=to: )receiver|(?<=  )receiver(?=:)|receiver(?=\.[^y])", "amplifier"),
    )  # fmt: skip
    changes = text_changes(starter(), read_edited(tmp_path / "new", edits)).changes
    assert sorted(told(changes)) == [
        "renamed chip receiver amplifier",
        "renamed rule receiver.plugged amplifier.is_plugged",
        "renamed signal plugged_in cord_in",
        "renamed state receiver.changing amplifier.waiting",
    ]


def test_a_part_that_is_renamed_where_others_change_is_still_known(tmp_path: Path) -> None:
    """What changed is told under the new name."""
    edits = (
        (r"\bchanging\b", "waiting"),
        (r"in: on_air, on: picture via air", "in: on_air, on: picture"),
    )
    changes = text_changes(starter(), read_edited(tmp_path / "new", edits)).changes
    assert told(changes) == [
        "renamed state receiver.changing receiver.waiting",
        "changed rule receiver.hear_air receiver.hear_air",
    ]


CHIP = """\
device: d
chips:
  c:
    states: {{a: {{}}, b: {{rest: true}}{states}}}
    variables: {{ready: bool}}
    rules:
{rules}
"""


def written(path: Path, rules: str, states: str = "") -> Device:
    """A chip with these rules."""
    path.write_text(CHIP.format(rules=rules, states=states), encoding="utf-8")
    return read_device(str(path))


GO, STAY = "      go: {in: a, to: b}\n", "      stay: {in: b, do: [ready = true]}\n"


def test_what_could_be_either_is_not_guessed(tmp_path: Path) -> None:
    """Two rules that say the same are gone and two others that say so came: nobody knows which is
    which, and all four are told.
    """
    twice = GO + "      ONE: {in: b, to: a}\n      OTHER: {in: b, to: a}\n"
    old = written(tmp_path / "old.yaml", twice.replace("ONE", "one").replace("OTHER", "two"))
    new = written(tmp_path / "new.yaml", twice.replace("ONE", "three").replace("OTHER", "four"))
    assert sorted(told(text_changes(old, new).changes)) == [
        "added rule c.four", "added rule c.three", "removed rule c.one", "removed rule c.two",
    ]  # fmt: skip


def test_what_declares_something_else_is_no_renaming(tmp_path: Path) -> None:
    """A rest state in the place of one that is none is another state."""
    old = written(tmp_path / "old.yaml", GO + "      on: {in: b, to: x}\n", ", x: {}")
    new = written(tmp_path / "new.yaml", GO + "      on: {in: b, to: y}\n", ", y: {rest: true}")
    assert told(text_changes(old, new).changes) == [
        "added state c.y", "changed rule c.on c.on", "removed state c.x",
    ]  # fmt: skip


def test_a_moved_rule_is_told_with_its_new_place(tmp_path: Path) -> None:
    """One rule moved, whichever way one looks at it; what did not move is not named."""
    third = "      third: {in: a, do: [ready = false]}\n"
    old = written(tmp_path / "old.yaml", GO + STAY + third)
    new = written(tmp_path / "new.yaml", third + GO + STAY)
    (moved,) = text_changes(old, new).changes
    assert (moved.what, str(moved.name), moved.after) == ("moved", "c.third", None)
    (back,) = text_changes(new, old).changes
    assert (back.what, str(back.name), str(back.after)) == ("moved", "c.third", "c.stay")


def test_a_changed_rule_tells_each_key_with_before_and_after(tmp_path: Path) -> None:
    """Words for people are told apart from what counts."""
    old = written(tmp_path / "old.yaml", GO + STAY)
    new = written(tmp_path / "new.yaml", GO + "      stay: {in: b, do: [ready = false], to: a}\n")
    (changed,) = text_changes(old, new).changes
    assert changed.facets == (("do", "ready = true", "ready = false"), ("to", "", "a"))
    assert not changed.wording_only
    new = written(tmp_path / "new.yaml", GO + STAY.replace("}", ", text: stays}"))
    (changed,) = text_changes(old, new).changes
    assert changed.wording_only


def test_an_option_in_a_condition_counts_also_where_its_value_is_the_same(tmp_path: Path) -> None:
    """Two options have the same value in the first variant, and are not the same text."""
    rules = "      go: {in: a, if: CONDITION, to: b}\n      back: {in: b, to: a}"
    text = (
        CHIP.format(rules=rules, states="") + "options: {how: [early, slow], why: [early, slow]}\n"
    )
    devices: list[Device] = []
    for condition in ("how == early", "why == early"):
        path = tmp_path / f"{len(devices)}.yaml"
        path.write_text(text.replace("CONDITION", condition), encoding="utf-8")
        devices.append(read_device(str(path)))
    (changed,) = text_changes(*devices).changes
    assert changed.facets == (("if", "how == early", "why == early"),)


def test_what_came_with_a_link_or_chip_is_counted_with_it(tmp_path: Path) -> None:
    """Its messages, states and rules are no changes of their own."""
    edits = (
        (r"(?m)^links:\n", "links:\n  more: {from: receiver, to: pedal, carries: [beat, bell]}\n"),
    )
    changes = text_changes(starter(), read_edited(tmp_path / "new", edits)).changes
    (added,) = changes
    assert (added.what, str(added.name), added.inside) == ("added", "more", (("message", 2),))
    back = text_changes(read_edited(tmp_path / "again", edits), starter()).changes
    assert told(back) == ["removed link more"]


@pytest.mark.parametrize(
    "name", ["starter/device.yaml", "small/handshake.yaml", "small/update.yaml"]
)
def test_a_device_compared_with_itself_has_not_changed(name: str) -> None:
    """And every part is known under its own name."""
    device = read_device(str(MODELS / name))
    assert text_changes(device, device).changes == ()
    parts = parts_of_device(device)
    assert renaming_between(parts, parts) == {part: part for part in parts}


@pytest.mark.parametrize("twin", ["silent_plug", "order_of_two_writes", "calls_for_ever"])
def test_no_two_parts_become_the_same(twin: str) -> None:
    """Whatever a change does, a renaming can be undone, and keeps kinds."""
    twins = read_device(str(MODELS / "faulty" / f"{twin}.yaml"))
    base = (MODELS / "faulty" / f"{twin}.yaml").read_text(encoding="utf-8")
    old = read_device(str(MODELS / "faulty" / base.split("based_on: ")[1].split("\n")[0]))
    renaming = renaming_between(parts_of_device(old), parts_of_device(twins))
    assert len(set(renaming.values())) == len(renaming)
    assert all(one.kind == other.kind for one, other in renaming.items())
    assert text_changes(old, twins).changes


TIMED = """\
device: sample
clock: {tick: 1 ms}
chips:
  hub:
    timers: {patience: 5 ms}
    states: {off: {rest: true}, on: {}}
    rules:
      begin: {in: off, period: 3 ms, send: [hello via up], start: patience, to: on}
      end: {in: on, expires: patience, to: off}
  tile: {states: {here: {rest: true}}, discards: [hello]}
links:
  up: {from: hub, to: tile, delay: 1 ms, carries: [hello]}
requirements:
  R1: {text: It ends, whenever: hub.on, then: hub.off, within: 9 ms}
"""


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("tick: 1 ms", "tick: 500 us", [("changed", "device", "tick")]),
        ("1 ms}", "1 ms, at_once: chips}", [("changed", "device", "at_once")]),
        ("patience: 5 ms", "patience: 6 ms", [("changed", "timer", "time")]),
        ("period: 3 ms", "period: [3 ms, 4 ms]", [("changed", "rule", "period")]),
        ("period: 3", "after: 3", [("changed", "rule", "after"), ("changed", "rule", "period")]),
        ("start: patience, ", "", [("changed", "rule", "start")]),
        ("to: on}", "stop: patience, to: on}", [("changed", "rule", "stop")]),
        ("delay: 1 ms", "delay: 2 ms", [("changed", "link", "delay")]),
        ("within: 9 ms", "within: 8 ms", [("changed", "requirement", "within")]),
        ("patience", "supervision", [("renamed", "timer", "")]),
        ("in: off, ", "in: off, weight: 3, ", [("changed", "rule", "weight")]),
        ("on: {}", "on: {current: 1 mA}", [("changed", "state", "current")]),
        ("timers:", "battery: 9 mAh\n    timers:", [("changed", "chip", "battery")]),
    ],
)
def test_changes_of_times_are_told(old: str, new: str, expected: list[tuple[str, ...]]) -> None:
    """Of clocks, timers, rules, links and requirements, each under its key."""
    changes = text_changes(device_from(TIMED), device_from(TIMED.replace(old, new))).changes
    told = [
        (one.what, one.name.kind, key)
        for one in changes
        for key in [key for key, _, _ in one.facets] or [""]
    ]
    assert told == expected
