"""Markdown for a merge request: short where all is well, complete where not, and safe."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from modecheck.checks.explored import Verdict
from modecheck.report.check_report import verdict_report
from modecheck.report.markdown import markdown_of
from tests.cli.running import MODELS
from tests.report.checked import FEW, ODD, SMALL_TWINS, checked, checked_text, twin


def markdown_text(verdict: Verdict) -> str:
    return markdown_of(verdict_report(verdict))


CELL_BORDER = re.compile(r"(?<!\\)\|")


def unmarked(text: str) -> str:
    """Markdown as a person reads it."""
    text = re.sub(r"</?[a-z]+>", "", re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", text))
    for name, mark in (("lt", "<"), ("gt", ">"), ("amp", "&")):
        text = text.replace(f"&{name};", mark)
    return " ".join(text.split())


def need_shape(text: str) -> None:
    """Assert that tables are whole, what folds is closed, and blank lines part HTML from marks."""
    lines = text.splitlines()
    assert lines[0].startswith("## ")
    assert text.count("<details") == text.count("</details>") == text.count("</summary>")
    for number, line in enumerate(lines):
        if "<summary>" in line:
            assert line.endswith("</summary>")
            assert lines[number + 1] == ""
        if line == "</details>":
            assert lines[number - 1] == ""
        if line.startswith("|") and not lines[number - 1].startswith("|"):
            width = len(CELL_BORDER.findall(line))
            assert lines[number + 1] == f"|{' --- |' * (width - 1)}"
        elif line.startswith("|"):
            assert len(CELL_BORDER.findall(line)) == len(CELL_BORDER.findall(lines[number - 1]))


@pytest.mark.parametrize("name", SMALL_TWINS)
def test_findings_are_told_in_full(name: str) -> None:
    """Id, place, every step and the hint, in a block that can be folded."""
    verdict = checked(twin(name))
    text = markdown_text(verdict)
    need_shape(text)
    read = unmarked(text)
    for finding in verdict.findings:
        assert finding.id in read
        assert f":{finding.place.line}:{finding.place.column}" in read
        assert finding.hint in read
        for step in finding.scenario:
            assert " ".join(step.text.split()) in read


def test_a_sound_device_is_told_shortly() -> None:
    """The verdict in a line, and two folded tables."""
    text = markdown_text(checked(str(MODELS / "starter" / "device.yaml")))
    need_shape(text)
    assert text.startswith("## starter: nothing found\n")
    assert "<details open>" not in text
    assert "| radio | 2 | · |" in text
    assert "<summary>2 of 2 requirements hold</summary>" in text


def test_an_incomplete_run_says_so() -> None:
    """In the title, with what stopped it, and with every requirement undecided."""
    text = markdown_text(checked(str(MODELS / "starter" / "device.yaml"), FEW))
    need_shape(text)
    assert text.startswith("## starter: incomplete, nothing found so far\n")
    assert "stopped by the bound of 3 states" in text
    assert text.count("**undecided**") == 2


def test_names_stay_text(tmp_path: Path) -> None:
    """No mark, no tag and no border of a cell comes from a model."""
    text = markdown_text(checked_text(ODD, tmp_path))
    need_shape(text)
    assert unmarked(text.splitlines()[0]) == "## odd | `name` <b>&</b> *x*: 1 warning"
    assert "<script" not in text
    assert "<b>" not in text
    assert "It is | never <script> `dark` #1" in unmarked(text)
    assert "we | live <with> it (until 2026-12-31)" in unmarked(text)
    tags = set(re.findall(r"</?([a-z]+)", text))
    assert tags == {"details", "summary", "code"}
