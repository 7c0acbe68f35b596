"""Renaming: what is read afterwards is the same device, but for the name."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from modecheck.editor.mentions import mentions_in_device
from modecheck.editor.positions import TextMap
from modecheck.editor.rename import CannotRename, Edit, nameable, renamed, with_edits
from modecheck.editor.workspace import uri_of
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.model.text_files import HeldTexts, instead_of_files, real_path
from tests.editor.texts import TANDEM, alone, changed, opened
from tests.sweeps import sweep

DEVICE, BRIDGE, HUB = (
    TANDEM / "device.yaml", TANDEM / "chips" / "bridge.yaml", TANDEM / "chips" / "hub.yaml"
)  # fmt: skip
CASES: Mapping[str, tuple[Path, str, str, str]] = {
    "link": (DEVICE, "  front_air:", "  fr¦ont_air:", "front_radio"),
    "link by its form": (BRIDGE, "via {side}_air", "via {side}_a¦ir", "{side}_radio"),
    "state": (BRIDGE, "in: telling", "in: tel¦ling", "repeating"),
    "chip": (DEVICE, "  hub: {file", "  h¦ub: {file", "base"),
    "chip in a parameter": (DEVICE, "  front_switch: {file", "  front_s¦witch: {file", "pedal"),
    "variable": (DEVICE, "hub.held == nobody", "hub.he¦ld == nobody", "playing"),
    "signal": (DEVICE, "[factory_reset]", "[factory_r¦eset]", "wipe"),
    "signal with a form": (BRIDGE, '"{side}_edge"', '"{side}_e¦dge"', "{side}_moved"),
    "message": (DEVICE, "connect, subscribe", "con¦nect, subscribe", "call_in"),
    "mode": (DEVICE, "  wired: hub", "  wir¦ed: hub", "tethered"),
    "option": (DEVICE, "  on_unplug:", "  on_unp¦lug:", "when_pulled"),
    "parameter": (BRIDGE, "via {side}_air", "via {si¦de}_air", "which"),
    "requirement": (DEVICE, "  foot_is_let_go:", "  foot_is_let¦_go:", "é𝒂"),
    "rule": (DEVICE, "taken(hub.tablet_hushed)", "taken(hub.tablet_hu¦shed)", "silenced"),
}
REFUSED: Mapping[str, tuple[Path, str, str, str, str]] = {
    "a form": (DEVICE, "  front_air:", "  fr¦ont_air:", "wireless", "has to contain 'front'"),
    "no name": (DEVICE, "  hub: {file", "  h¦ub: {file", "a hub", "cannot be a name"),
    "reserved": (DEVICE, "  hub: {file", "  h¦ub: {file", "state", "reserved"),
    "taken": (BRIDGE, "in: telling", "in: tel¦ling", "quiet", "a state 'quiet' already"),
    "in the way": (DEVICE, "  wired: hub", "  wir¦ed: hub", "on_unplug", "an option 'on_unplug'"),
    "a key": (DEVICE, "  hub: {file", "  hub: {fi¦le", "folder", "nothing that is named"),
}  # fmt: skip


EVERY_PLACE = """\
device: names where values stand
clock: {tick: 5 ms}
constants: {most: 2}
signals: {level: {range: [0, most]}}
chips:
  tile:
    copies: 2
    with: {left: "tile[i - 1]", way: up, pause: 10 ms}
    parameters: {left: null, way: null, pause: null, hub: listener}
    constants: {least: 1}
    variables: {heard: {range: [0, most], start: least}}
    timers: {patience: pause}
    states: {idle: {rest: true}, calling: {}}
    initial: any
    rules:
      call: {in: idle, if: left.state == idle, send: "hello via {way}", to: calling}
      tell: {in: calling, after: [pause, forever], signal: level(heard), start: patience, to: idle}
      wait: {in: calling, expires: patience, if: hub.open, to: idle, text: "waits for {hub}"}
  listener:
    variables: {volume: {range: [0, most]}}
    states: {open: {rest: true}}
    rules: {hear: {on: hello}, turn: {on: level, do: volume = value}}
links:
  each tile:
    up: {from: tile, to: listener, carries: [hello], when_full: wait}
"""
"""Constants, parameters, copies and signals in each place in which a name is not alone."""


def read(texts: Mapping[str, str]) -> Device:
    with instead_of_files(HeldTexts(texts)):
        return read_device(str(DEVICE))


def after(edits: list[Edit]) -> dict[str, str]:
    """The texts of all files that were edited."""
    paths = {real_path(one.path) for one in edits}
    return {
        path: with_edits(
            Path(path).read_text(encoding="utf-8"),
            [one for one in edits if real_path(one.path) == path],
        )
        for path in paths
    }


def shape(device: Device) -> list[object]:
    """How a device is built, without any name."""
    chips = device.chips.values()
    return [
        [(len(c.states), len(c.variables), len(c.rules), c.actor) for c in chips],
        [
            [len(rule.trigger), len(rule.sends), len(rule.assignments)]
            for c in chips
            for rule in c.rules
        ],
        [(len(link.carries), link.capacity) for link in device.links.values()],
        [(need.pattern, need.sentence) for need in device.requirements.values()],
        list(map(str, device.unused)),
    ]


@pytest.mark.parametrize("what", sweep(CASES, lambda _: False))
def test_a_renamed_device_is_the_same_device(what: str) -> None:
    """It is read without errors, is built alike, and calling all by the old name undoes it."""
    path, old, new, name = CASES[what]
    session = alone()
    uri, position = opened(session, path, changed(path, old, new))
    before = nameable(session, uri, position)
    edits = renamed(session, uri, position, name)
    texts = after(edits)
    assert shape(read(texts)) == shape(read({}))
    for own, text in texts.items():
        session.workspace.put(f"file://{own}", text)
    offset = before.span.start + sum(
        len(one.text) - (one.span.end - one.span.start)
        for one in edits
        if real_path(one.path) == real_path(str(path)) and one.span.start < before.span.start
    )
    begin = session.workspace.map_of(str(path)).position(offset)
    back = renamed(session, uri, begin, before.written)
    for own, text in texts.items():
        mine = [one for one in back if real_path(one.path) == own]
        assert with_edits(text, mine) == Path(own).read_text(encoding="utf-8")


@pytest.mark.parametrize("why", sweep(REFUSED, ("a key",).__contains__))
def test_a_name_that_cannot_be_given_is_refused(why: str) -> None:
    """With the reason; nothing is changed by half."""
    path, old, new, name, reason = REFUSED[why]
    session = alone()
    uri, position = opened(session, path, changed(path, old, new))
    with pytest.raises(CannotRename, match=reason):
        renamed(session, uri, position, name)


TILES = {
    "device.yaml": """\
device: x
chips:
  left_tile: {file: tile.yaml, with: {side: left, peer: hub}}
  right_tile: {file: tile.yaml, with: {side: right, peer: hub}}
  hub: {states: {p: {rest: true}}, discards: [step]}
links:
  left_air: {from: left_tile, to: hub, carries: [step]}
  right_air: {from: right_tile, to: hub, carries: [step]}
""",
    "tile.yaml": """\
chip: tile
parameters: {side: null, peer: null}
states: {up: {rest: true}}
rules: {go: {in: up, if: peer.p, send: ["step via {side}_air"]}}
""",
}


def in_tiles(folder: Path, place: str, name: str) -> dict[str, str]:
    """The two files after what is marked in the device is renamed."""
    for own, text in TILES.items():
        (folder / own).write_text(text, encoding="utf-8")
    session, path = alone(), folder / "device.yaml"
    uri, position = opened(session, path, changed(path, place.replace("¦", ""), place))
    edits = renamed(session, uri, position, name)
    return {Path(own).name: text for own, text in after(edits).items()}


def test_names_that_are_written_together_are_renamed_together(tmp_path: Path) -> None:
    """What one file calls {side}_air is two links, and neither can be renamed alone."""
    texts = in_tiles(tmp_path, "  left¦_air:", "left_radio")
    assert texts["device.yaml"] == TILES["device.yaml"].replace("_air", "_radio")
    assert texts["tile.yaml"] == TILES["tile.yaml"].replace("_air", "_radio")


def test_a_name_that_is_given_to_a_parameter_is_renamed(tmp_path: Path) -> None:
    """The chip that uses it by the parameter is left as it is."""
    texts = in_tiles(tmp_path, "  h¦ub: {", "base")
    assert texts == {"device.yaml": TILES["device.yaml"].replace("hub", "base")}


def test_a_name_is_changed_in_other_devices_of_the_folder(tmp_path: Path) -> None:
    """A variant that lies elsewhere names what it changes."""
    texts = {
        "base/device.yaml": "device: x\nchips: {a: {states: {p: {rest: true}}}}\n",
        "other/variant.yaml": (
            "device: y\nbased_on: ../base/device.yaml\nchips: {a: {states: {p: {about: z}}}}\n"
        ),
    }
    for name, text in texts.items():
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_text(text, encoding="utf-8")
    session = alone()
    session.workspace.roots = (str(tmp_path),)
    path = tmp_path / "base" / "device.yaml"
    uri, position = opened(session, path, texts["base/device.yaml"].replace("{p:", "{¦p:"))
    edits = renamed(session, uri, position, "still")
    assert {Path(one.path).name for one in edits} == {"device.yaml", "variant.yaml"}


def test_names_are_found_in_every_kind_of_place(tmp_path: Path) -> None:
    """Each of them can be given another name, and what is read is the same device."""
    path = tmp_path / "device.yaml"
    path.write_text(EVERY_PLACE, encoding="utf-8")
    session = alone()
    before = shape(read_device(str(path)))
    found = mentions_in_device(session.workspace, session.scene(str(path)))[real_path(str(path))]
    symbols = {one.symbol: one for one in found if one.declares}
    assert {"most", "least", "level", "pause", "way", "up", "listener"} <= {s.name for s in symbols}
    for one in symbols.values():
        place = uri_of(str(path)), TextMap(EVERY_PLACE).position(one.span.start)
        texts = after(renamed(session, *place, f"{one.symbol.name}_new"))
        with instead_of_files(HeldTexts(texts)):
            assert shape(read_device(str(path))) == before
