"""Chips as SCXML do what the model does, run by a general-purpose library that follows the W3C.

The library is python-statemachine 3; it follows the algorithm of W3C SCXML 1.0 (1 September 2015),
appendix D. Section 3.13 selects transitions: those of the innermost state first, then in document
order.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from statemachine import StateChart

from modecheck.exchange.chip_yaml import chip_yaml
from modecheck.exchange.scxml_reading import read_scxml
from modecheck.exchange.scxml_writing import scxml_of
from modecheck.model.devices import read_device
from tests.exchange.beside import Beside
from tests.exchange.round_trips import bundled, device_at, kinds_of_chips
from tests.exchange.scxml_machine import ScxmlMachine
from tests.firmware.made import cases_of
from tests.sweeps import sweep

ALWAYS = ("starter/device.yaml", "small/handshake.yaml", "faulty/patience_too_short.yaml")
CHARTS = Path(__file__).parent / "charts"


def runnable(path: str) -> list[str]:
    """The chips of a device that the library can run: it assigns no items of lists, and has
    attributes of its own that states cannot be called like.
    """
    device = device_at(path)
    names = list(device.chips)
    if path not in ALWAYS:
        names = [name for there, name in kinds_of_chips() if there == path]
    return [
        name
        for name in names
        if not any(one.length for one in device.chips[name].variables.values())
        and not any(hasattr(StateChart, state) for state in device.chips[name].states)
    ]


@pytest.mark.parametrize("path", sweep(bundled(), ALWAYS.__contains__))
def test_charts_do_what_chips_do(path: str) -> None:
    """State, variables, messages, signals and timers, after each of many random events."""
    # In a large device, hardly anything has happened in the first states.
    most = 3_000 if path.startswith("tandem/") else 400
    for cases in cases_of(device_at(path), runnable(path), most):
        beside = Beside(cases)
        beside.walk(60 if path in ALWAYS else 150, seed=1)
        assert bool(beside.taken["taken"]) == beside.takes_rules


ORDER = """
device: which rule goes first
chips:
  hub:
    states:
      outer:
        rest: true
        states: {inner: {rest: true}, other: {rest: true}}
        rules:
          from_outside: {on: tap, do: last = outside}
    variables:
      last: {one_of: [nothing, outside, first, second]}
      open: bool
    rules:
      whole: {on: [tap, knock], do: last = nothing}
      second: {in: inner, on: tap, do: last = second}
      first: {in: inner, on: tap, if: open, do: last = first, priority: 1}
      move: {in: inner, on: go, to: other}
      toggle: {on: flip, do: open = not open}
actors:
  foot:
    states: [here]
    rules: [{signal: tap}, {signal: knock}, {signal: go}, {signal: flip}]
"""


def test_the_innermost_state_goes_first_then_the_order_of_the_document(tmp_path: Path) -> None:
    """W3C SCXML 1.0, section 3.13; a priority of the model is a place in the document."""
    (tmp_path / "device.yaml").write_text(ORDER, encoding="utf-8")
    machine = ScxmlMachine(scxml_of(read_device(str(tmp_path / "device.yaml")), "hub").text)
    found = []
    for event in ("tap", "flip", "tap", "go", "tap", "knock"):
        machine.give(event)
        found.append(machine.value("last"))
    assert found == ["second", "second", "first", "first", "outside", "nothing"]


IN_VAIN = """
device: times that come to nothing
options: {patient: [yes, no]}
chips:
  hub:
    variables: {calls: {range: [0, 1]}}
    timers: {patience: 2 ms}
    states: {idle: {rest: true}, busy: {}}
    rules:
      never: {in: idle, after: 5 ms, if: patient == no, to: busy}
      seldom: {in: idle, after: 3 ms, if: calls > 0, to: busy}
      begin: {on: tap, do: calls = 1 - calls, start: patience}
      give_up: {in: busy, expires: patience, if: calls > 0, to: idle}
      call: {in: busy, after: 20 ms, to: idle}
actors:
  foot: {states: [here], rules: {tap: {signal: tap}}}
"""


def test_a_time_that_comes_to_nothing_is_not_compared(tmp_path: Path) -> None:
    """It is over in a chart, and goes on in the model (the difference `missed`): where a condition
    does not hold, where none ever can (its rule is not in the product), where no rule waits.
    """
    (tmp_path / "device.yaml").write_text(IN_VAIN, encoding="utf-8")
    device = read_device(str(tmp_path / "device.yaml"))
    missed = [one.subject for one in scxml_of(device, "hub").differences if one.kind == "missed"]
    assert sorted(missed) == ["'give_up'", "'never'", "'seldom'"]
    (cases,) = cases_of(device, ["hub"])
    expired = [case for case in cases.known if case.occasion.timer >= 0]
    answers = {outcome.answer for case in expired if (outcome := cases.outcome(case)) is not None}
    assert answers == {"taken", "not_now", "discarded"}
    beside = Beside(cases)
    beside.walk(200, seed=1)
    assert beside.taken["taken"] == 200


AROUND = {
    "tuner": """
device: a tuner
chips: {tuner: {file: chip.yaml}}
actors:
  foot:
    states: [here]
    rules: [{signal: [step, reset]}, {signal: [note, note_in_tune]}, {on: [light_off, broken]}]
links: {out: {from: tuner, to: foot, carries: [light_off, broken], when_full: drop_new}}
""",
    "charging": """
device: a battery
chips: {battery_pack: {file: chip.yaml}}
actors:
  person:
    states: [here]
    rules: [{signal: plug}, {signal: unplug}, {signal: [drain, tick]}, {signal: [hurry, calm]}]
    discards: level
links:
  gauge: {from: battery_pack, to: person, carries: {level: {range: [0, 3]}}, when_full: drop_new}
""",
}
EVENTS = {
    "tuner": ("step", "note", "note.in_tune", "reset"),
    "charging": ("plug", "unplug", "drain", "tick", "hurry", "calm"),
}


@pytest.mark.parametrize("name", AROUND)
def test_a_chart_from_elsewhere_is_read_as_what_it_does(name: str, tmp_path: Path) -> None:
    """Read as a chip and written again, it does the same in the library as the original: what
    states do when they are entered and left, conditions inside of transitions, timers.
    """
    original = CHARTS / f"{name}.scxml"
    read = read_scxml(str(original))
    (tmp_path / "chip.yaml").write_text(chip_yaml(read.chip), encoding="utf-8")
    (tmp_path / "device.yaml").write_text(AROUND[name], encoding="utf-8")
    again = scxml_of(read_device(str(tmp_path / "device.yaml")), read.chip.name)
    seen = set()
    for seed in range(6):
        first = ScxmlMachine(original.read_text(encoding="utf-8"))
        second = ScxmlMachine(again.text)
        for event in events(EVENTS[name], random.Random(seed)):  # noqa: S311 - for a test
            if event and event not in first.waiting:
                first.give(event)
                second.give(event.replace(".", "_"))
            elif first.waiting:
                first.expire(next(iter(first.waiting)))
                second.expire(next(iter(second.waiting)))
            seen |= first.states
            assert told(first, read.chip.variables) == told(second, read.chip.variables), event
    assert len(seen) > 3


def events(known: tuple[str, ...], chance: random.Random) -> Iterator[str]:
    """Random events, and now and then none: then a timer expires, if one runs."""
    for _ in range(40):
        yield chance.choice(("", *known))


def told(machine: ScxmlMachine, variables: tuple[object, ...]) -> tuple[object, ...]:
    """What can be seen of a chart, whether a chip has been made of it or not."""
    names = [getattr(one, "name", "") for one in variables]
    sent = {(re.sub(r"\.(out|gauge)$", "", event), value) for event, value in machine.sent}
    sent = {(event.replace(".", "_"), value) for event, value in sent}
    states = machine.states - {"tuner", "battery_pack"}
    return states, [machine.value(one) for one in names], sent, len(machine.waiting)
