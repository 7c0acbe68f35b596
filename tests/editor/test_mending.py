"""Texts that are half written, made readable."""

from __future__ import annotations

import pytest

from modecheck.editor.mending import closed, mended
from modecheck.model.errors import Notebook
from modecheck.model.yaml_nodes import MappingNode, parse_yaml
from tests.editor.texts import TANDEM

SLIPS = ("  foo", "  {a: ]", "\tx: y", "a: b: c", "  - x", "  a: 'b' c")


@pytest.mark.parametrize("slip", SLIPS)
def test_only_the_line_that_is_being_written_is_lost(slip: str) -> None:
    """Everything else is read, at the places where it is."""
    lines = (TANDEM / "chips" / "tablet.yaml").read_text(encoding="utf-8").split("\n")
    broken = [*lines[:20], slip, *lines[20:]]
    assert parse_yaml("", "\n".join(broken), Notebook()) is None or slip == "  - x"
    found = mended("\n".join(broken)).split("\n")
    assert found == [*lines[:20], "", *lines[20:]]
    assert isinstance(parse_yaml("", "\n".join(found), Notebook()), MappingNode)


@pytest.mark.parametrize(
    ("line", "found"),
    [("    on: [a", "    on: [a]"), ("  a: {b: [", "  a: {b: []}"), ('  a: "b', '  a: "b"'),
     ("  a: {b: c, ", "  a: {b: c, }"), ("  a: b", "  a: b")],
)  # fmt: skip
def test_what_is_open_is_closed(line: str, found: str) -> None:
    """So that what the line says already counts."""
    assert closed(line) == found
    text = f"chip: x\nrules:\n{line}\nstates: [p]\n"
    tree = parse_yaml("", mended(text), Notebook())
    assert isinstance(tree, MappingNode)
    assert set(tree.entries) == {"chip", "rules", "states"}
    assert isinstance(tree.entries["rules"], MappingNode)


def test_a_quote_is_closed_far_above_of_where_it_is_missed() -> None:
    """At the next quote, a line later or many."""
    rest = "    fair: weak\n" * 3
    text = f'chip: x\nrules:\n  a:\n    if: "b and\n{rest}    send: ["c"]\nstates: [p]\n'
    assert mended(text) == text.replace('"b and', '"b and"')


def test_a_text_that_can_be_read_is_left_alone() -> None:
    """Even if it has errors of another kind."""
    text = "chip: x\nstates: {a: {}}\nstates: {b: {}}\n"
    assert mended(text) == text


def test_a_text_without_any_sense_is_left_alone() -> None:
    """Nothing is gained by blanking all of it."""
    text = "\n".join(["{[", "]}"] * 20)
    assert mended(text) == text


def test_a_text_that_is_no_mapping_is_left_alone() -> None:
    """It can be read, but nothing that is blanked makes a model of it (found by random edits)."""
    text = "\n".join(["- a"] * 10)
    assert mended(text) == text
