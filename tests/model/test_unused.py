"""Declarations that nothing mentions."""

from __future__ import annotations

import pytest

from tests.model.folder import Folder

USED = """\
device: d
options: {on_unplug: [stay, fall_back]}
chips:
  hub:
    parameters: {far: tile}
    variables: {ready: bool}
    states: [s]
    rules: [{if: ready and far.s and on_unplug == stay, send: hello, signal: ping}]
  tile: {states: [s], rules: [{'on': ping}], discards: [hello]}
links: {down: {from: hub, to: tile, carries: [hello], when_full: drop_new}}
"""


def test_what_is_used_is_not_told(folder: Folder) -> None:
    """One mention is enough, in a rule, in a link or in a reply."""
    assert folder.device(USED).unused == ()


@pytest.mark.parametrize(
    ("old", "new", "subject", "line"),
    [
        (" and on_unplug == stay", "", "option.on_unplug", 2),
        (" and far.s", "", "hub.far", 5),
        ("ready and far.s", "far.s", "hub.ready", 6),
        ("send: hello, ", "", "down", 10),
        ("carries: [hello]", "carries: [hello, bye]", "down.bye", 10),
        ("'on': ping", "'on': hello", "signal.ping", 8),
    ],
)
def test_what_is_left_over_is_told(
    folder: Folder, old: str, new: str, subject: str, line: int
) -> None:
    """Options, parameters, variables, links, messages and signals, each at its declaration."""
    (unused,) = folder.device(USED.replace(old, new)).unused
    assert (unused.subject, unused.place.line) == (subject, line)


@pytest.mark.parametrize(
    "beside",
    [
        "pairings: {p: {ends: [hub.ready, tile.s]}}",
        "modes: {m: hub.ready == none}",
        "requirements: {R: {text: t, never: hub.ready == 1}}",
        "links: {down: {from: hub, to: tile, carries: [x], up_when: hub.ready == 1}}",
    ],
)
def test_a_mention_anywhere_in_the_device_counts(folder: Folder, beside: str) -> None:
    """A variable may be there for a mode, a link or a requirement alone."""
    text = f"""\
device: d
chips:
  hub: {{states: [s], variables: {{ready: {{bond: true}}, waste: bool}}}}
  tile: {{states: [s], variables: {{s: {{bond: true}}}}, discards: []}}
{beside}
"""
    subjects = {unused.subject for unused in folder.device(text).unused}
    assert "hub.waste" in subjects
    assert "hub.ready" not in subjects


@pytest.mark.parametrize(
    ("condition", "unheard"),
    [("signalled(ping)", False), ("taken(hub.ping)", True), ("hub.s", True)],
)
def test_a_signal_may_be_there_for_a_requirement(
    folder: Folder, condition: str, unheard: bool
) -> None:
    """It counts as heard where it is asked whether it was raised; a rule of that name does not."""
    device = f"""\
device: d
chips: {{hub: {{states: [s], rules: [{{name: ping, signal: ping}}]}}}}
requirements: {{R: {{text: t, never: {condition}}}}}
"""
    subjects = [unused.subject for unused in folder.device(device).unused]
    assert subjects == (["signal.ping"] if unheard else [])


def test_two_chips_of_one_file_have_one_left_over(folder: Folder) -> None:
    """A place is told once, however many instances it has."""
    text = "device: d\nchips: {a: {file: s.yaml}, b: {file: s.yaml}}\n"
    files = {"s.yaml": "chip: s\nstates: [s]\nvariables: {waste: bool}\n"}
    (unused,) = folder.device(text, files).unused
    assert unused.text == "nothing reads or writes the variable waste of b"
