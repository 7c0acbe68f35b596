"""Chips of random devices as SCXML: the same after the round trip, doing what the model does."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statemachine import StateChart

from modecheck.exchange.outside_values import outside_values
from modecheck.exchange.scxml_writing import scxml_of
from modecheck.model.devices import read_device
from modecheck.model.parts import Chip, Device
from tests.exchange.beside import Beside
from tests.exchange.round_trips import meaning, splits, written_and_read
from tests.firmware.made import cases_of
from tests.generation.devices import Drawn, devices


def alone(device: Device) -> list[Chip]:
    """The chips that are not one of several copies, and have no rule for each copy of others."""
    copies = {name for names in device.copies.values() for name in names}
    return [
        chip
        for name, chip in device.chips.items()
        if name not in copies and not any("[" in rule.title for rule in chip.rules)
    ]


def is_said_otherwise(chip: Chip) -> bool:
    """Whether what comes back says the same in other words: a priority becomes a place, and places
    number rules without names; without an `else`, the `if` of a rule is a part of each branch.
    """
    numbered = any("#" in rule.title for rule in chip.rules)
    ends = {rule.whole for rule in chip.rules if rule.title.endswith(".else")}
    return (numbered and any(rule.priority for rule in chip.rules)) or any(
        rule.branch.given is not None and rule.whole not in ends
        for rule in chip.rules
        if rule.branch is not None
    )


def kinds(device: Device, chip: Chip) -> set[str]:
    """The kinds of differences that an export names."""
    return {one.kind for one in scxml_of(device, chip.name).differences}


def crowds(device: Device, chip: Chip) -> bool:
    """Whether a rule sends several messages over a link that waits: whether there is room for all
    of them, only the model asks.
    """
    waiting = [
        [send.link for send in rule.sends if device.links[send.link].when_full == "wait"]
        for rule in chip.rules
    ]
    return any(len(set(links)) < len(links) for links in waiting)


def the_same(drawn: Drawn) -> None:
    """Every chip is the same after the round trip."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "drawn.yaml").write_text(drawn.text, encoding="utf-8")
        device = read_device(str(folder / "drawn.yaml"), drawn.chosen)
        for chip in alone(device):
            if splits(chip) or is_said_otherwise(chip) or "idle" in kinds(device, chip):
                continue
            back, read = written_and_read(device, chip.name, folder)
            assert read.remarks == ()
            before, after = meaning(chip), meaning(back.chips[chip.name])
            for key, found in before.items():
                assert after[key] == found, (chip.name, key)


def side_by_side(drawn: Drawn, steps: int) -> None:
    """Every chip that the library can run does the same there."""
    device = drawn.read()
    names = [
        chip.name
        for chip in alone(device)
        if not any(one.length for one in chip.variables.values())
        and not any(hasattr(StateChart, state) for state in chip.states)
        and not crowds(device, chip)
        and not {"judged", "nested"} & kinds(device, chip)
        and not any(one.length for one in outside_values(device, chip, ()).values())
    ]
    for cases in cases_of(device, names, most=100):
        Beside(cases).walk(steps, seed=1)


@settings(max_examples=max(1, settings().max_examples // 2))
@given(st.booleans().flatmap(lambda timed: devices(timed=timed)))
def test_random_chips_are_the_same_after_the_round_trip(drawn: Drawn) -> None:
    """Whatever they consist of."""
    the_same(drawn)


@settings(max_examples=max(1, settings().max_examples // 5))
@given(devices())
def test_random_chips_do_the_same_as_charts(drawn: Drawn) -> None:
    """In the library that follows the W3C."""
    side_by_side(drawn, 20)


@pytest.mark.thorough
@settings(max_examples=settings().max_examples)
@given(st.booleans().flatmap(lambda timed: devices(timed=timed)))
def test_many_random_chips_do_the_same_as_charts(drawn: Drawn) -> None:
    """More of them, for longer, half of them where time is counted: named timers, periods."""
    side_by_side(drawn, 60)
