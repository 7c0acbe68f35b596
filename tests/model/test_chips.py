"""Chips: the file or the body in place, parameters, and what a chip discards and defers."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.model.parts import Event
from tests.model.folder import Folder, around

FOOT_SWITCH = """\
chip: foot_switch
about: watches a foot switch
parameters: {side: null, speed: 2}
variables: {count: {range: [0, speed]}}
states: [idle, busy]
rules:
  - {in: idle, signal: "{side}_pressed", to: busy, text: "sees the {side} foot"}
"""


def test_one_file_makes_many_chips(folder: Folder) -> None:
    """Each instance has its own parameters, and their rules stand at one place."""
    text = """\
        device: d
        chips:
          front: {file: foot_switch.yaml, with: {side: front}}
          rear: {file: foot_switch.yaml, with: {side: rear, speed: 7}}
        actors: {player: {states: [s], discards: [front_pressed, rear_pressed]}}
        """
    chips = folder.device(text, {"foot_switch.yaml": FOOT_SWITCH}).chips
    left, right = chips["front"], chips["rear"]
    assert (left.rules[0].signals, right.rules[0].signals) == (
        ("front_pressed",),
        ("rear_pressed",),
    )
    assert (left.rules[0].phrase, left.about) == ("sees the front foot", "watches a foot switch")
    assert (left.variables["count"].type.high, right.variables["count"].type.high) == (2, 7)
    assert left.rules[0].place == right.rules[0].place
    assert Path(left.rules[0].place.file).name == "foot_switch.yaml"


def test_chips_must_move_and_actors_may(folder: Folder) -> None:
    """The section in which an instance stands decides; a file serves both."""
    text = "device: d\nchips: {a: {file: s.yaml}}\nactors: {b: {file: s.yaml}}\n"
    chips = folder.device(text, {"s.yaml": "actor: s\nstates: [s]\n"}).chips
    assert [chip.actor for chip in chips.values()] == [False, True]


def test_what_stands_in_place_is_laid_over_the_file(folder: Folder) -> None:
    """A device can change a rule of a chip file without a copy."""
    body = "file: foot_switch.yaml, with: {side: front}, initial: busy, states: [busy, off]"
    text = f"device: d\nchips: {{a: {{{body}, rules: []}}}}\n"
    chip = folder.device(text, {"foot_switch.yaml": FOOT_SWITCH}).chips["a"]
    assert (list(chip.states), chip.initial, chip.rules) == (["busy", "off"], "busy", ())


@pytest.mark.parametrize(
    ("body", "replies"),
    [
        ("discards: [hello, ping]", {"": [("hello", "discard"), ("ping", "discard")]}),
        ("discards: hello", {"": [("hello", "discard")]}),
        (
            "defers: {s: [hello], t: [hello]}",
            {"s": [("hello", "defer")], "t": [("hello", "defer")]},
        ),
        (
            "discards: {s: hello}, defers: [hello]",
            {"s": [("hello", "discard")], "": [("hello", "defer")]},
        ),
        ("discards: [hello via up]", {"": [("hello via up", "discard")]}),
    ],
)
def test_a_chip_discards_and_defers(
    folder: Folder, body: str, replies: dict[str, list[tuple[str, str]]]
) -> None:
    """Everywhere, or state by state."""
    found = folder.chip(f"states: [s, t], {body}").replies
    assert {
        state: [(str(reply.event), reply.manner) for reply in each] for state, each in found.items()
    } == replies


def test_a_state_discards_and_defers_for_itself(folder: Folder) -> None:
    """Written inside the state, it means the same."""
    replies = folder.chip("states: {s: {discards: hello}, t: {defers: [keys]}}").replies
    assert [reply.event for reply in replies["s"]] == [Event("hello")]
    assert [reply.manner for reply in replies["t"]] == ["defer"]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("", "the chip 'hub' has no behaviour"),
        ("with: {side: front}", "the chip 'hub' has no behaviour"),
        ("file: nowhere.yaml", "there is no file"),
        ("file: [a]", "a list cannot be used as file"),
        ("file: device.yaml", "a cycle of files"),
        ("stats: [s]", "did you mean 'states'?"),
        ("states: [s], discards: [helo]", "did you mean 'hello'?"),
        ("states: [s], discards: {t: [hello]}", "unknown state 't'"),
        ("states: [s], discards: {s: {a: b}}", "a mapping cannot be used as events"),
        ("states: [s], discards: 3", "'3' is not an event"),
        ("states: [s], discards: hello, defers: hello", "both discarded and deferred everywhere"),
        ("states: {s: {discards: hello, defers: hello}}", "both discarded and deferred in 's'"),
        ("states: [s], parameters: [a]", "a list cannot be used as parameters"),
        ("states: [s], parameters: {a: [b]}", "a list cannot be used as a parameter"),
        ("states: [s], parameters: {a: ~}", "no value for the parameter 'a'"),
        ("states: [s], with: [a]", "a list cannot be used as with"),
        ("states: [s], with: {a: [b]}", "a list cannot be used as the parameter 'a'"),
        ("states: [s], with: {sied: a}, parameters: {side: b}", "did you mean 'side'?"),
        ("states: [s], parameters: {v: 1}, variables: {v: bool}", "a parameter and a variable"),
        ("states: [s], variables: [v]", "a list cannot be used as variables"),
    ],
)
def test_chips_that_are_none_are_told(folder: Folder, body: str, told: str) -> None:
    """A chip has states, of its own or from a file, and a value for each parameter."""
    errors = folder.errors(around(body))
    assert any(told in str(error) for error in errors)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("states: [s]\n", "the file declares neither a chip nor an actor"),
        ("chip: [a]\nstates: [s]\n", "a list cannot be used as chip"),
        ("chip:\nstates: [s]\n", "an empty value cannot be used as chip"),
        ("device: d\n", "is a device file"),
        ("chip: a\nstats: [s]\n", "did you mean 'states'?"),
        ("- a\n", "a list at the top"),
        ("", "the file is empty"),
        ("chip: a\nstates: [s]\nabout: {}\n", "a mapping cannot be used as about"),
    ],
)
def test_chip_files_say_what_they_are(folder: Folder, content: str, told: str) -> None:
    """A file without `chip` or `actor` may be anything."""
    text = "device: d\nchips: {a: {file: a.yaml}}\n"
    errors = folder.errors(text, {"a.yaml": content})
    assert any(told in str(error) for error in errors)


def test_an_error_in_a_chip_file_is_told_once(folder: Folder) -> None:
    """However many chips are made of it."""
    text = "device: d\nchips: {a: {file: a.yaml}, b: {file: a.yaml}, c: {file: a.yaml}}\n"
    told = folder.error(text, {"a.yaml": "chip: a\nstates: [s]\nrules: [{to: t}]\n"})
    assert told.startswith("a.yaml:3:14: unknown state 't'")
