"""Labels of rules in the notation of UML 2.5.1."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from modecheck.draw.labels import AT_ANY_TIME, reply_phrases, rule_label, rule_phrases
from modecheck.draw.lettering import SLACK
from modecheck.draw.typesetting import label_lines
from modecheck.model.parts import Device
from tests.draw.making import chip_of, device_of
from tests.draw.reading_svg import squeezed

TRANSITION = re.compile(r"(?P<trigger>[^\[/{]*)(?P<guard> ?\[.*\])?(?P<effect> ?/ .*)?( ?\{.*\})?")
"""`trigger [guard] / effect`, UML 2.5.1, section 14.2.4 (the grammar from memory)."""


@pytest.mark.parametrize(
    ("rule", "label"),
    [
        ("{on: hello, to: there}", "hello"),
        ("{on: [hello, bye], to: there}", "hello, bye"),
        ("{after: 20 ms, to: there}", "after (20 ms)"),
        ("{if: x == 1, to: there}", "[x == 1]"),
        ("{to: there}", AT_ANY_TIME),
        ("{on: hello, if: x < 2, do: x = x + 1}", "hello [x < 2] / x = x + 1"),
        (
            "{on: hello, do: [x = 0, x += 1], signal: plugged}",
            "hello / x = 0; x += 1; signal plugged",
        ),
        ("{on: hello, steps: separate, do: x = 0}", "hello / x = 0 {steps: separate}"),
    ],
)
def test_a_rule_becomes_trigger_guard_and_effects(rule: str, label: str, tmp_path: Path) -> None:
    """What a rule waits for, asks and does stands in UML's order, effects in the order of C."""
    chip = chip_of(
        tmp_path,
        f"variables: {{x: {{range: [0, 3]}}}}\nstates: [here, there]\nrules: [{rule}]",
        hears=("hello", "bye"),
    )
    assert [rule_label(rule) for rule in chip.rules] == [label]


def test_a_message_names_its_link(tmp_path: Path) -> None:
    """A sent message says by which link it goes, though the model may leave that out."""
    device = device_of(
        tmp_path,
        """
        device: test
        chips:
          hub: {states: [here], rules: [{send: hello}, {on: "answer via up"}]}
          tile: {states: [here], rules: [{on: hello, send: "answer via up"}]}
        links:
          down: {from: hub, to: tile, carries: [hello]}
          up: {from: tile, to: hub, carries: [answer]}
        """,
    )
    labels = [rule_label(rule) for chip in device.chips.values() for rule in chip.rules]
    assert labels == ["/ send hello via down", "answer via up", "hello / send answer via up"]


def test_every_label_follows_the_grammar(stage: Device) -> None:
    """All rules of a large hub can be read as `trigger [guard] / effect`."""
    for rule in stage.chips["hub"].rules:
        found = TRANSITION.fullmatch(rule_label(rule))
        assert found
        assert bool(found["guard"]) == bool(rule.guard_text)
        assert bool(found["effect"]) == bool(rule.assignments or rule.sends or rule.signals)


def test_deferred_and_discarded_events_are_told_apart(stage: Device) -> None:
    """UML writes `event / defer`; what is discarded is written beside it in the same manner."""
    replies = stage.chips["hub"].replies["updating"]
    texts = {" ".join(part.text for part in reply_phrases(reply)) for reply in replies}
    assert texts == {"keys / defer", "mode_button / (discarded)"}


def test_long_labels_are_broken_between_their_parts(stage: Device) -> None:
    """Lines are about 34 characters long and lose nothing; guard and effects start a line."""
    for rule in stage.chips["hub"].rules:
        lines = label_lines(rule_phrases(rule))
        assert all(len(line.text) <= 34 + SLACK for line in lines)
        assert squeezed("".join(line.text for line in lines)) == squeezed(rule_label(rule))
    paired = next(rule for rule in stage.chips["hub"].rules if "paired" in rule_label(rule))
    assert [line.text for line in label_lines(rule_phrases(paired))] == [
        "connect [slots[0] != none]",
        "/ slots[0] = 1;",
        "send paired via ble_out",
    ]
