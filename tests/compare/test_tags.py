"""What parts of a device have to do with: their own tags, and those that follow from a medium."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.compare.forms import Name
from modecheck.compare.tags import in_order, own_tags, tags_of, tags_of_link
from modecheck.model.devices import read_device
from modecheck.model.mistakes import InvalidInput
from modecheck.model.parts import Device

TAGGED = """\
device: d
chips:
  hub:
    tags: charging
    states: {off: {tags: [power, sleep]}, on: {states: {a: {}, b: {tags: [lamp]}}, tags: [awake]}}
    rules:
      wake: {in: off, to: a, tags: [button]}
      shine: {in: a, to: b}
      call: {in: b, send: [hello via air]}
  ear: {states: {idle: {rest: true}}, rules: {hear: {on: hello}, other: {in: idle, on: [hello]}}}
links:
  air: {from: hub, to: ear, medium: bluetooth, carries: [hello], tags: [antenna], when_full: wait}
faults: {power_cut: {chips: [ear]}}
"""


@pytest.fixture
def device(tmp_path: Path) -> Device:
    (tmp_path / "device.yaml").write_text(TAGGED, encoding="utf-8")
    return read_device(str(tmp_path / "device.yaml"))


def test_tags_are_read_where_they_may_stand(device: Device) -> None:
    """At chips, states, rules and links; one word needs no brackets."""
    hub = device.chips["hub"]
    assert hub.tags == ("charging",)
    assert hub.states["off"].tags == ("power", "sleep")
    assert hub.states["on"].tags == ("awake",)
    assert hub.rules[0].tags == ("button",)
    assert device.links["air"].tags == ("antenna",)


def test_a_link_has_its_medium_as_a_tag(device: Device) -> None:
    """And what is Bluetooth is radio."""
    assert tags_of_link(device.links["air"]) == {"antenna", "bluetooth", "radio"}


def test_a_rule_has_the_tags_of_its_chip_and_of_the_states_that_it_joins(device: Device) -> None:
    """Also of the states around these."""
    hub = device.chips["hub"]
    wake, shine, _ = hub.rules
    assert own_tags(hub, wake) == {"charging", "power", "sleep", "awake", "button"}
    assert own_tags(hub, shine) == {"charging", "awake", "lamp"}


def test_a_rule_has_the_tags_of_the_links_that_it_uses(device: Device) -> None:
    """Given what it says; a fault that cuts power has to do with power."""
    said = Name("message", "hello", "air")
    found = tags_of(device, Name("rule", "hear", "ear"), said)
    assert found == {"antenna", "bluetooth", "radio"}
    assert tags_of(device, Name("fault", "power_cut"), Name("chip", "ear")) == {"power"}


def test_what_laboratories_ask_for_is_told_first() -> None:
    """The rest by name."""
    assert in_order({"zigzag", "charging", "antenna", "radio"}) == [
        "radio", "charging", "antenna", "zigzag",
    ]  # fmt: skip


@pytest.mark.parametrize("tags", ["[1]", "{a: b}", "[[x]]", "not"])
def test_a_tag_is_a_word(tags: str, tmp_path: Path) -> None:
    """Anything else is told with its place."""
    text = TAGGED.replace("tags: charging", f"tags: {tags}")
    (tmp_path / "device.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(InvalidInput, match=r"device\.yaml:4"):
        read_device(str(tmp_path / "device.yaml"))
