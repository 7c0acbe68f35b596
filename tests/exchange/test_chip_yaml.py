"""Drafted chips as YAML text: what is written is what the reader of models reads."""

from __future__ import annotations

from pathlib import Path

import yaml
from hypothesis import given
from hypothesis import strategies as st

from modecheck.exchange.chip_draft import (
    DraftedBranch,
    DraftedChip,
    DraftedEffects,
    DraftedRule,
    DraftedState,
    DraftedVariable,
)
from modecheck.exchange.chip_yaml import chip_yaml
from modecheck.exchange.yaml_layout import WIDTH, Opened, yaml_text
from modecheck.model.devices import read_device
from modecheck.model.errors import Notebook
from modecheck.model.parts import Device
from modecheck.model.values import TRUTH, bond_type, number_type, word_type
from modecheck.model.yaml_nodes import MappingNode, ScalarNode, SequenceNode, read_yaml

PEDAL = DraftedChip(
    name="pedal",
    about="an invented pedal: one foot, one light",
    comments=("Made for a test.",),
    variables=(
        DraftedVariable("lit", TRUTH, (1,)),
        DraftedVariable("level", number_type(-2, 9), (0,), comments=("how loud",)),
        DraftedVariable("slots", word_type(("empty", "full")), (0, 1), length=2),
        DraftedVariable("bond", bond_type(), (0,), persistent=True),
    ),
    timers={"patience": "[2 ms, 5 ms]"},
    states=(
        DraftedState(
            "up",
            states=(DraftedState("high", rest=True), DraftedState("higher", rest=False)),
            initial="higher",
            comments=("both feet",),
        ),
        DraftedState("down", about="no: a foot, and more", defers=("press",)),
    ),
    rules=(
        DraftedRule(
            "step",
            ("up",),
            on=("press",),
            condition="level < 9 and not lit",
            effects=DraftedEffects(do=("lit, level = false, 3", "level += 1"), to="down"),
            text="goes down",
            comments=("first of all",),
        ),
        DraftedRule(
            "wait",
            ("down",),
            waits=("after", "20 ms"),
            branches=(
                DraftedBranch("lit", DraftedEffects(to="high"), "dark"),
                DraftedBranch("", DraftedEffects(start=("patience",))),
            ),
        ),
        DraftedRule("end", waits=("expires", "patience"), priority=0, fair="weak", weight="3/4"),
    ),
    discards=("press",),
)
DEVICE = """\
device: for a test
chips: {pedal: {file: pedal.yaml}}
actors: {foot: {states: [here], rules: {step: {signal: press}}}}
"""


def as_read(chip: DraftedChip, folder: Path, device: str = DEVICE) -> Device:
    """The device with the chip, from files."""
    (folder / "pedal.yaml").write_text(chip_yaml(chip), encoding="utf-8")
    (folder / "device.yaml").write_text(device, encoding="utf-8")
    return read_device(str(folder / "device.yaml"))


def test_a_draft_is_read_as_what_it_says(tmp_path: Path) -> None:
    """Every key of a draft arrives in the typed model."""
    chip = as_read(PEDAL, tmp_path).chips["pedal"]
    assert list(chip.states) == ["up", "high", "higher", "down"]
    assert [one.rest for one in chip.states.values()] == [False, True, False, False]
    assert chip.states["up"].initial == "higher"
    assert chip.states["down"].about == "no: a foot, and more"
    assert [one.start for one in chip.variables.values()] == [(1,), (0,), (0, 1), (0,)]
    assert [one.type for one in chip.variables.values()] == [one.type for one in PEDAL.variables]
    assert chip.variables["bond"].persistent
    assert chip.timers["patience"].duration.text == "2 ms to 5 ms"
    step, dark, otherwise, end = chip.rules
    assert (step.sources, step.target, step.phrase) == (("up",), "down", "goes down")
    assert [one.text for one in step.assignments] == ["lit, level = false, 3", "level += 1"]
    assert (dark.title, dark.target) == ("wait.dark", "high")
    assert (otherwise.title, otherwise.starts) == ("wait.else", ("patience",))
    assert (end.expires, end.fair, str(end.weight)) == ("patience", "weak", "3/4")
    assert {reply.manner for replies in chip.replies.values() for reply in replies} == {
        "discard",
        "defer",
    }


def test_the_text_is_short_and_has_its_comments() -> None:
    """What fits stands in one line; a comment stands before what it is about."""
    lines = chip_yaml(PEDAL).splitlines()
    assert lines[0] == "# Made for a test."
    assert all(len(line) <= WIDTH for line in lines)
    assert "  lit: {bool: true, start: true}" in lines
    assert lines[lines.index("  # how loud") + 1] == "  level: {range: [-2, 9]}"
    assert lines[lines.index("  # first of all") + 1] == "  step:"


def test_rules_without_names_are_a_list(tmp_path: Path) -> None:
    """So are rules of which two share a name, which the reader then judges."""
    rules = (DraftedRule("", ("down",), on=("press",)), DraftedRule("a", on=("press",)))
    chip = DraftedChip("pedal", (DraftedState("down", rest=True),), rules)
    assert [one.title for one in as_read(chip, tmp_path).chips["pedal"].rules] == [
        "down:press",
        "a",
    ]


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=30))
def test_every_text_stays_itself(text: str) -> None:
    """As a key and as a value, in a line and in a block, for us and for PyYAML.

    PyYAML, a general-purpose library, knows YAML 1.1: there `on` and `12` are no texts, so that it
    is asked for the text of its events only.
    """
    written = yaml_text({"line": {text or "k": [text]}, "block": Opened({text or "k": text})})
    events = [one.value for one in yaml.parse(written) if isinstance(one, yaml.ScalarEvent)]
    assert events == ["line", text or "k", text, "block", text or "k", text]


def test_what_looks_like_nothing_is_a_text(tmp_path: Path) -> None:
    """The reader of models takes only an unquoted null for no value."""
    path = tmp_path / "a.yaml"
    path.write_text(yaml_text({"words": ["null", "~", "", "true", "on", "12", "- a", "a: b", "#"]}))
    node = read_yaml(str(path), Notebook(), named_at=None)
    assert isinstance(node, MappingNode)
    words = node.entries["words"]
    assert isinstance(words, SequenceNode)
    assert [one.text for one in words.items if isinstance(one, ScalarNode)] == [
        "null", "~", "", "true", "on", "12", "- a", "a: b", "#",
    ]  # fmt: skip
    assert not any(one.is_null for one in words.items if isinstance(one, ScalarNode))
