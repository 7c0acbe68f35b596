"""What parts of a device have to do with: their own concerns, and those that follow
from a medium.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.compare.forms import PartName
from modecheck.compare.part_concerns import concerns_of, concerns_of_link, in_order, own_concerns
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device

MARKED = """\
device: d
chips:
  hub:
    concerns: charging
    states: {off: {concerns: [power, sleep]},
      on: {states: {a: {}, b: {concerns: [lamp]}}, concerns: [awake]}}
    rules:
      wake: {in: off, to: a, concerns: [button]}
      shine: {in: a, to: b}
      call: {in: b, send: [hello via air]}
  ear: {states: {idle: {rest: true}}, rules: {hear: {on: hello}, other: {in: idle, on: [hello]}}}
links:
  air: {from: hub, to: ear, medium: bluetooth, carries: hello, concerns: [antenna], when_full: wait}
faults: {power_cut: {chips: [ear]}}
"""


@pytest.fixture
def device(tmp_path: Path) -> Device:
    (tmp_path / "device.yaml").write_text(MARKED, encoding="utf-8")
    return read_device(str(tmp_path / "device.yaml"))


def test_concerns_are_read_where_they_may_stand(device: Device) -> None:
    """At chips, states, rules and links; one word needs no brackets."""
    hub = device.chips["hub"]
    assert hub.concerns == ("charging",)
    assert hub.states["off"].concerns == ("power", "sleep")
    assert hub.states["on"].concerns == ("awake",)
    assert hub.rules[0].concerns == ("button",)
    assert device.links["air"].concerns == ("antenna",)


def test_a_link_has_its_medium_as_a_concern(device: Device) -> None:
    """And what is Bluetooth is radio."""
    assert concerns_of_link(device.links["air"]) == {"antenna", "bluetooth", "radio"}


def test_a_rule_has_the_concerns_of_its_chip_and_of_the_states_that_it_joins(
    device: Device,
) -> None:
    """Also of the states around these."""
    hub = device.chips["hub"]
    wake, shine, _ = hub.rules
    assert own_concerns(hub, wake) == {"charging", "power", "sleep", "awake", "button"}
    assert own_concerns(hub, shine) == {"charging", "awake", "lamp"}


def test_a_rule_has_the_concerns_of_the_links_that_it_uses(device: Device) -> None:
    """Given what it says; a fault that cuts power has to do with power."""
    said = PartName("message", "hello", "air")
    found = concerns_of(device, PartName("rule", "hear", "ear"), said)
    assert found == {"antenna", "bluetooth", "radio"}
    assert concerns_of(device, PartName("fault", "power_cut"), PartName("chip", "ear")) == {"power"}


def test_what_laboratories_ask_for_is_told_first() -> None:
    """The rest by name."""
    assert in_order({"zigzag", "charging", "antenna", "radio"}) == [
        "radio", "charging", "antenna", "zigzag",
    ]  # fmt: skip


@pytest.mark.parametrize("concerns", ["[1]", "{a: b}", "[[x]]", "not"])
def test_a_concern_is_a_word(concerns: str, tmp_path: Path) -> None:
    """Anything else is told with its place."""
    text = MARKED.replace("concerns: charging", f"concerns: {concerns}")
    (tmp_path / "device.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(InvalidInput, match=r"device\.yaml:4"):
        read_device(str(tmp_path / "device.yaml"))
