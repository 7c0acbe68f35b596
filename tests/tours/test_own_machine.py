"""A chip alone as a Mealy machine, and words that tell a chip with a mistake from a sound one."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

import pytest

from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.tours.chip_words import ChipWords, words_for
from modecheck.tours.own_machine import OwnMachine, WhyNot, own_machine
from tests.models.bundled import STARTER
from tests.stepping import begin

HUB = """
device: sample
chips:
  hub:
    variables: {{level: {{range: [0, 2]}}}}
    states: {{low: {{rest: true}}, high: {{rest: true}}}}
    rules:
      {rule}
      rise: {{in: low, on: press, send: [note(2) via down], to: high}}
    {more}
  tile:
    states: {{idle: {{rest: true}}, busy: {{rest: true}}}}
    rules: {{ping: {{on: ping, send: [hello(1) via up]}}}}
    discards: [note]
actors: {{hand: {{states: [free], rules: {{press: {{signal: press}}, ping: {{signal: ping}}}}}}}}
links:
  up: {{from: tile, to: hub, carries: {{hello: {{kind: event, range: [0, 2]}}}}, capacity: 2}}
  down: {{from: hub, to: tile, carries: {{note: {{kind: event, range: [0, 2]}}}}, capacity: 2}}
"""


def machine(rule: str, more: str = "discards: [hello]") -> OwnMachine | WhyNot:
    return own_machine(begin(HUB.format(rule=rule, more=more)).product, "hub")


def test_a_chip_that_sends_more_than_its_link_can_hold_is_no_machine() -> None:
    """Its message would wait for ever, and no output says so."""
    rule = "twice: {on: hello, send: [note(1) via down, note(1) via down, note(1) via down]}"
    text = HUB.format(rule=rule, more="discards: []").replace(
        "capacity: 2}\n", "capacity: 2, when_full: wait}\n"
    )
    found = own_machine(begin(text).product, "hub")
    assert isinstance(found, WhyNot)
    assert found.reasons == ("hello(0) over up needs more room than the chip's links have",)


def test_the_starters_pedal_is_a_machine_of_four_states() -> None:
    """Two ways and two positions of the foot; its answers are its pictures."""
    found = own_machine(compose(read_device(str(STARTER))), "pedal")
    assert isinstance(found, OwnMachine)
    assert found.states[0] == "by_air, foot lifted"
    assert set(found.states) == {
        f"{trace}, foot {foot}"
        for trace in ("by_air", "by_cable")
        for foot in ("lifted", "pressed")
    }
    inputs = found.machine.inputs
    word = [inputs.index(name) for name in ("step", "plugged_in", "plugged_in", "lift")]
    assert found.machine.run(word) == [
        "picture(pressed) over air",
        "picture(pressed) over cord",
        "nothing",
        "picture(lifted) over cord",
    ]


def test_values_of_messages_and_timers_are_inputs() -> None:
    """Each value is an input of its own; what is discarded is answered with nothing."""
    found = machine("take: {in: high, after: 5 s, do: level = 0, signal: done, to: low}")
    assert isinstance(found, OwnMachine)
    assert found.machine.inputs == (
        "hello(0) over up",
        "hello(1) over up",
        "hello(2) over up",
        "press",
        "wait for its timer",
    )
    word = [
        found.machine.inputs.index(name)
        for name in ("hello(1) over up", "press", "wait for its timer")
    ]
    assert found.machine.run(word) == ["nothing", "note(2) over down", "signal done"]


@pytest.mark.parametrize(
    ("rule", "more", "reason"),
    [
        (
            "go: {in: low, to: high}",
            "discards: [hello]",
            "go happens by itself, at a moment that a test cannot choose",
        ),
        (
            "go: {in: low, on: hello, if: tile.idle, to: high}",
            "discards: [hello]",
            "go reads tile.state, which belongs to another chip",
        ),
        (
            "go: {in: low, on: hello, if: late, to: high}",
            "discards: [hello]",
            "go checks whether a message is late",
        ),
        (
            "go: {in: low, on: hello, to: high}",
            "defers: {high: [hello]}",
            "it defers hello, so its behaviour depends on its links",
        ),
        (
            "go: {in: low, on: hello, to: high}",
            "",
            "in high, level 0, hello(0) over up: hub in high has no answer to hello",
        ),
        (
            "go: {in: low, after: 5 s, to: high}\n      on: {in: low, after: 6 s}",
            "discards: [hello]",
            "in low, level 0 two of its timers run at once",
        ),
    ],
)
def test_a_chip_that_is_no_machine_says_why(rule: str, more: str, reason: str) -> None:
    """What happens by itself, looks elsewhere, depends on its links, or has no answer."""
    found = machine(rule, more)
    assert isinstance(found, WhyNot)
    assert reason in found.reasons


def answers(folder: Path, old: str, new: str, words: ChipWords) -> list[list[str]]:
    """What the pedal answers to words, with a line of its file changed."""
    for file in STARTER.parent.glob("*.yaml"):
        text = file.read_text(encoding="utf-8")
        if file.name == "pedal.yaml":
            assert old in text
            text = text.replace(old, new)
        (folder / file.name).write_text(text, encoding="utf-8")
    found = own_machine(compose(read_device(str(folder / "device.yaml"))), "pedal")
    assert isinstance(found, OwnMachine)
    index = found.machine.inputs.index
    return [found.machine.run([index(one.told) for one in word]) for word in words.words]


MISTAKES = [
    ("    to: by_cable\n", ""),
    ("    send: [picture(foot) via air]\n    to: by_air\n", "    to: by_air\n"),
    (
        "    on: lift\n    do: [foot = lifted]\n    send: [picture(foot) via cord]",
        "    on: lift\n    send: [picture(foot) via cord]",
    ),
    (
        "picture(foot) via cord]\n    text: reports the step",
        "picture(lifted) via cord]\n    text: reports the step",
    ),
]


@pytest.mark.parametrize(("old", "new"), [("chip: pedal", "chip: pedal"), *MISTAKES])
def test_words_tell_a_pedal_with_a_mistake(old: str, new: str, tmp_path: Path) -> None:
    """A forgotten `to`, `send` or `do`, or a wrong value is answered wrongly; the sound
    one is not.
    """
    words = words_for(compose(read_device(str(STARTER))), "pedal")
    assert isinstance(words, ChipWords)
    right = [[one.answer for one in word] for word in words.words]
    assert (answers(tmp_path, old, new, words) == right) == (old == new)


def test_states_that_nothing_tells_apart_are_named() -> None:
    """The hub's memory of what it has heard never shows."""
    text = HUB.format(
        rule="hear: {in: high, on: hello, do: level = value}\n"
        "      fall: {in: high, on: ping, send: [note(0) via down], to: low}",
        more="discards: [hello]",
    )
    words = words_for(begin(dedent(text)).product, "hub")
    assert isinstance(words, ChipWords)
    assert sorted(map(len, words.states)) == [3, 3]


def test_a_chip_that_never_says_anything_has_no_words() -> None:
    """Nothing that comes out of it tells its states apart."""
    found = words_for(
        begin("""
    device: mute
    chips:
      lamp:
        states: {dark: {rest: true}, lit: {rest: true}}
        rules: [{in: dark, on: press, to: lit}]
    actors: {hand: {states: [free], rules: {press: {signal: press}}}}
    """).product,
        "lamp",
    )
    assert isinstance(found, WhyNot)
    assert "responds alike in all its states" in found.reasons[0]
