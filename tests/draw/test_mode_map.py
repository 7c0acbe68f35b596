"""The map of modes: possible direct switches as arrows, all others in a table."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.mode_switches import ModeSwitch as FoundSwitch
from modecheck.draw import SwitchArrow, drawings, render_svg
from modecheck.model.parts import Device
from tests.draw.reading_svg import Picture, words_of


@dataclass(frozen=True)
class Switch:
    """A switch as the map needs it."""

    source: str
    target: str
    possible: bool = True
    direct: bool = True
    steps: int | None = None
    via: tuple[str, ...] = ()


SWITCHES = (
    Switch("wired", "radio", steps=1),
    Switch("radio", "wired", steps=12),
    Switch("wired", "bluetooth", direct=False, steps=7, via=("radio",)),
    Switch("bluetooth", "wired", possible=False, direct=False),
)


def _picture(device: Device) -> Picture:
    drawing = next(each for each in drawings(device, SWITCHES) if each.name == "modes")
    return Picture(render_svg(drawing))


def test_direct_switches_are_arrows_with_their_fewest_steps(stage: Device) -> None:
    """An arrow stands for each possible direct switch, and for nothing else."""
    picture = _picture(stage)
    titles = {title for title, _ in picture.lines}
    assert titles == {"wired to radio: 1 step", "radio to wired: 12 steps"}
    labels = [words_of(group)[0] for group in picture.groups("label")]
    assert labels == ["1 step", "12 steps"]


def test_all_other_switches_are_told_below(stage: Device) -> None:
    """What is possible only through other modes, or not at all, stands in a table."""
    words = _picture(stage).words
    assert "wired→bluetoothonlythroughradio7steps" in words
    assert "bluetooth→wiredimpossible" in words


def test_modes_bear_their_condition(stage: Device) -> None:
    """Each mode says when the device is in it."""
    groups = {words_of(group)[0]: words_of(group)[1:] for group in _picture(stage).groups("mode")}
    assert groups == {
        "wired": ["hub.state == wired_up"],
        "radio": ["hub.state == linked"],
        "bluetooth": ["hub.state == bluetooth_up"],
    }


def test_a_device_without_modes_has_no_such_picture(stage: Device) -> None:
    """An empty map would say nothing."""
    bare = Device(**{**{name: getattr(stage, name) for name in stage.__slots__}, "modes": {}})
    assert "modes" not in {drawing.name for drawing in drawings(bare, SWITCHES)}


def test_what_check_finds_can_be_drawn() -> None:
    """The switches that the checks find have all that the map asks for."""
    found: SwitchArrow = FoundSwitch(
        "a", "b", possible=True, direct=True, steps=1, via=(), trace=None
    )
    assert found.steps == 1


def test_the_shortest_trace_of_each_switch_is_told(stage: Device) -> None:
    """Step by step, below the map."""
    ways = {("wired", "radio"): ("cable pull", "hub gives_up"), ("radio", "wired"): ("cable plug",)}
    drawing = next(each for each in drawings(stage, SWITCHES, ways) if each.name == "modes")
    words = Picture(render_svg(drawing)).words
    assert "shortestpathswired→radiocablepull,hubgives_upradio→wiredcableplug" in words
