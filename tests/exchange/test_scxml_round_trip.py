"""YAML to SCXML and back is the same chip, for all bundled chips but those that are named here."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from modecheck.exchange.scxml_words import SCXML
from modecheck.exchange.scxml_writing import scxml_of
from modecheck.model.devices import read_device
from tests.exchange.round_trips import (
    device_at,
    kinds_of_chips,
    meaning,
    with_chip,
    written_and_read,
)

NOT_EXACT = {
    ("small/joining.yaml", "hub"),
    ("small/turns.yaml", "player"),
    ("faulty/answers_the_first_only.yaml", "hub"),
}
"""Chips of which a rule is written once for each copy of others: its name there has a number in
brackets, which no rule in a file can have."""

ALWAYS = (
    ("tandem/device.yaml", "hub"),
    ("starter/device.yaml", "receiver"),
    ("small/session.yaml", "hub"),
    ("faulty/patience_too_short.yaml", "hub"),
    ("published/jugs_3_5.yaml", "person"),
)


def is_exact(path: str, name: str, folder: Path) -> bool:
    """Whether a chip is the same after the round trip, and nothing was remarked."""
    device = device_at(path)
    back, read = written_and_read(device, name, folder)
    return meaning(device.chips[name]) == meaning(back.chips[name]) and not read.remarks


@pytest.mark.parametrize(("path", "name"), ALWAYS)
def test_a_chip_is_the_same_after_the_round_trip(path: str, name: str, tmp_path: Path) -> None:
    """With its states, variables, timers, rules and their order, and all that is said of them."""
    assert is_exact(path, name, tmp_path)


@pytest.mark.thorough
def test_every_bundled_chip_is_the_same_after_the_round_trip(tmp_path: Path) -> None:
    """But for those whose rules have names that no file can give."""
    kinds = kinds_of_chips()
    assert len(kinds) > 230
    assert {kind for kind in kinds if not is_exact(*kind, tmp_path)} == NOT_EXACT


EVERYTHING = """
device: all that bundled chips do not have
options: {way: [loud, soft]}
constants: {steps: [1, 2, 4]}
chips:
  hub:
    about: says & hears <everything> "at once"
    fair: strong
    concerns: [radio, power]
    battery: 1.25 Ah
    variables:
      new: {range: [-3, 9], start: -1}
      slots: {one_of: [empty, full], list: 3, start: [empty, full, empty]}
      key: {bond: true, persistent: true}
      turn: bool
    timers: {patience: [2 ms, 5 ms], nap: [1 ms, forever]}
    states:
      off: {rest: true, current: 0.5 uA}
      on:
        initial: loud
        rest: true
        discards: [tap]
        states:
          quiet: {rest: false, about: not a word}
          loud: {current: 12 mA, defers: [level via up]}
          In: {}
    initial: on
    rules:
      decide:
        in: on
        on: level
        if: way == loud
        choose:
          - {name: high, if: value > 3 and late, do: ["new, turn = value, new > 0"], to: quiet}
          - {if: value // 2 == 1 or new % 4 == 2, do: ["new, slots[0] = 3, empty"]}
          - {else: true, text: "says -- nothing", send: "echo(min(value, 2) if turn else 0)"}
      swap: {in: [loud, quiet], on: tap, do: ["key, new = 3, 1 - new * 2"], weight: 9/19}
      count: {in: quiet, period: 250 us, if: "new in [1, 2] and not turn", do: new -= 1}
      expire: {expires: patience, stop: nap, start: patience, to: off, steps: separate}
      - {}
      awake: {in: off, after: [1 ms, 2 s], do: "slots[max(new, 0) % 3] = full", start: nap, to: on}
      late_one: {in: on, on: [tap, level via up], if: "state in [loud, In]", to: off}
      free: {in: on, if: tile.down or tile.level != 2, signal: [ping], to: off, fair: weak}
  tile:
    variables: {level: {range: [0, 3]}}
    states: {up: {rest: true}, down: {rest: true}, below: {rest: true}}
    rules:
      call: {in: up, on: ping, send: [level(level)], to: down}
      hear: {on: echo}
actors:
  foot: {states: [here], rules: {tap: {signal: tap}}}
links:
  up: {from: tile, to: hub, carries: {level: {range: [0, 7]}}, when_full: drop_new}
  down: {from: hub, to: tile, carries: {echo: {range: [0, 7]}}, when_full: wait}
""".replace("      - {}\n", "")


def test_what_no_bundled_chip_has_is_the_same_as_well(tmp_path: Path) -> None:
    """Branches, lists, values assigned together, words of ECMAScript, odd times, all attributes."""
    (tmp_path / "all.yaml").write_text(EVERYTHING, encoding="utf-8")
    device = read_device(str(tmp_path / "all.yaml"))
    back, read = written_and_read(device, "hub", tmp_path)
    assert read.remarks == ()
    before, after = meaning(device.chips["hub"]), meaning(back.chips["hub"])
    for key, found in before.items():
        assert after[key] == found, key


def test_a_difference_would_be_seen(tmp_path: Path) -> None:
    """A rule less, a rule earlier, another value: the comparison above is not blind."""
    device = device_at("starter/device.yaml")
    text = scxml_of(device, "receiver").text
    assert text
    receiver = device.chips["receiver"]
    for old, new in (("to: changing", "to: on_cable"), ("pressed", "lifted"), ("rest: true", "")):
        source = (Path(device.file).parent / "receiver.yaml").read_text(encoding="utf-8")
        assert old in source
        other = with_chip(device, "receiver", source.replace(old, new, 1), tmp_path)
        assert meaning(other.chips["receiver"]) != meaning(receiver), old


NAMES = """
device: names
chips:
  hub:
    variables: {lit: bool, lit_: bool, _event: bool, v_event: bool, hub: bool, In: bool}
    states: {dark: {rest: true}, lit: {rest: true}, lit_: {rest: true}, next_1: {}}
    rules:
      swap: {in: dark, on: tap, if: _tile.dark, do: ["lit, lit_ = lit_, lit"], to: next_1}
      turn: {in: next_1, do: [_event = not v_event, v_event = In, In = not hub], to: lit}
      back: {on: tap, do: [hub = _event, lit = lit_], to: lit_}
  _tile: {states: {dark: {rest: true}}}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_every_id_is_one_of_its_own(tmp_path: Path) -> None:
    """Ids are unique in a document, states and variables together (W3C SCXML, section 3.14), and no
    variable begins with an underscore (section 5.10).
    """
    (tmp_path / "names.yaml").write_text(NAMES)
    device = read_device(str(tmp_path / "names.yaml"))
    text = scxml_of(device, "hub").text
    root = ElementTree.fromstring(text)  # noqa: S314 - just written
    ids = [one.get("id") for tag in ("state", "data") for one in root.iter(f"{{{SCXML}}}{tag}")]
    assert len(ids) == len(set(ids)) == 14
    assert not [one for one in ids if one is None or one.startswith("_")]
    back, read = written_and_read(device, "hub", tmp_path)
    assert meaning(back.chips["hub"]) == meaning(device.chips["hub"])
    assert not read.remarks
