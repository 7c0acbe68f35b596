"""What chances are computed from is read exactly; errors in it are told with their place."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput

DEVICE = """\
device: lamp
chips:
  lamp:
    battery: 500 mAh
    states:
      off: {rest: true, current: 12 µA}
      on: {current: 3.5 mA, states: {dim: {}, bright: {}}}
    rules: {toggle: {in: off, on: go, to: on}, back: {in: on, weight: 9/19, to: off}}
actors:
  hand: {states: [idle], rules: {push: {send: go, weight: 0.25}}}
links:
  air: {from: hand, to: lamp, carries: [go], can: [lose], loses: 1/100, when_full: wait}
chances:
  shines: {text: How soon, latency: sent(hand.go), answer: delivered(lamp.go)}
  lit: {reach: lamp.bright}
"""


def read(text: str, folder: Path) -> object:
    """The device in this text."""
    path = folder / "device.yaml"
    path.write_text(text, encoding="utf-8")
    return read_device(str(path))


def test_quantities_are_exact(tmp_path: Path) -> None:
    """Fractions and decimals, in the units of physics; a state inside draws what is around it."""
    path = tmp_path / "device.yaml"
    path.write_text(DEVICE, encoding="utf-8")
    device = read_device(str(path))
    lamp = device.chips["lamp"]
    assert lamp.battery == Fraction(1, 2)
    assert lamp.states["off"].current == Fraction(12, 10**6)
    assert lamp.states["dim"].current == Fraction(7, 2000)
    assert [rule.weight for rule in lamp.rules] == [None, Fraction(9, 19)]
    assert device.chips["hand"].rules[0].weight == Fraction(1, 4)
    assert device.links["air"].loss == Fraction(1, 100)
    assert [chance.kind for chance in device.chances.values()] == ["latency", "reach"]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("loses: 1/100", "loses: 1", "a share between 0 and 1"),
        ("loses: 1/100", "loses: 1/0", "a share between 0 and 1"),
        ("can: [lose], loses", "loses", "'can: [lose]' as well"),
        ("weight: 9/19", "weight: -1", "a positive number"),
        ("500 mAh", "500 mA", "such as 500 mAh"),
        ("500 mAh", "0 mAh", "more than 0"),
        ("12 µA", "12 mV", "such as 3 mA"),
        ("answer: delivered", "until: delivered", "'until' does not go with 'latency'"),
        ("reach: lamp.bright", "reach: lamp.brihgt", "bright"),
        ("latency: sent(hand.go)", "latency: lamp.on", "one event"),
    ],
)
def test_errors_are_placed(old: str, new: str, told: str, tmp_path: Path) -> None:
    """With what was expected."""
    assert old in DEVICE
    with pytest.raises(InvalidInput) as caught:
        read(DEVICE.replace(old, new), tmp_path)
    assert told in str(caught.value)
    assert "device.yaml:" in str(caught.value)
