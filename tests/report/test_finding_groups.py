"""Findings of one cause are one entry, and stay findings of their own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.model.places import Place, Source
from modecheck.report import document_tree as doc
from modecheck.report.as_json import verdict_as_json
from modecheck.report.check_report import verdict_report
from modecheck.report.finding_groups import groups_of
from modecheck.report.markdown import markdown_of
from modecheck.report.showing import Showing
from modecheck.report.style import Style
from modecheck.report.terminal import lines_of
from tests.cli.running import MODELS
from tests.report.checked import SMALL_TWINS, checked, twin
from tests.report.unfinished import unfinished

SENTENCES = [
    "each of left and right has no answer to tune in docked and apart (2 states)",
    "mcu has no answer to battery_full in idle, deciding, calling, wired, saving and dim "
    "(6 states)",
    "mcu has no answer to usb_configured in idle, deciding, calling, wired, radio, saving, … "
    "(7 states)",
    "The pedal never calls: mcu.calling becomes true",
]  # fmt: skip
"""Of the unfinished device: counted by hand from its file."""


@pytest.fixture
def verdict(tmp_path: Path) -> Verdict:
    """The verdict on the unfinished device."""
    return checked(str(unfinished(tmp_path)))


def shown(verdict: Verdict, showing: Showing) -> list[str]:
    """The lines of a report, as wide as they want to be."""
    return lines_of(verdict_report(verdict, showing=showing), Style(width=1000), unfold="--in-full")


def test_a_chip_that_lacks_an_answer_in_seven_states_is_one_entry(verdict: Verdict) -> None:
    """And so are chips of one file; the shortest scenario stands for all."""
    groups = groups_of(verdict.findings)
    assert [group.text for group in groups] == SENTENCES
    assert [len(group.findings) for group in groups] == [4, 6, 7, 1]
    for group in groups:
        assert group.first.steps == min(one.steps or 0 for one in group.findings)


def test_grouping_neither_loses_nor_adds_a_finding(verdict: Verdict) -> None:
    """Whatever the device: each id occurs in exactly one group."""
    for one in (verdict, *(checked(twin(name)) for name in SMALL_TWINS)):
        grouped = [found.id for group in groups_of(one.findings) for found in group.findings]
        assert sorted(grouped) == sorted(found.id for found in one.findings)
    in_json = verdict_as_json(verdict)
    ids = [id_ for group in in_json["groups"] for id_ in group["findings"]]
    assert sorted(ids) == sorted(one["id"] for one in in_json["findings"])


def made(
    code: str, subject: str, text: str, variants: tuple[str, ...] = (), line: int = 1
) -> Finding:
    """A finding without a scenario."""
    place = Place(Source("device.yaml", ()), line, 1)
    return Finding(code, subject, text, place, variants=variants)


@pytest.mark.parametrize(
    ("findings", "texts"),
    [
        (
            [
                made("dead-rule", "hub.a", "hub never takes a: tick never arrives"),
                made("dead-rule", "hub.b", "hub never takes b: its guard x is never true there"),
                made("dead-rule", "hub.c", "hub never takes c: tick never arrives"),
            ],
            [
                "hub never takes a and c (2 rules): tick never arrives",
                "hub never takes b: its guard x is never true there",
            ],
        ),
        (
            [
                made("no-mode-switch", "wired->radio", "no path leads from wired to radio"),
                made("no-mode-switch", "wired->tablet", "no path leads from wired to tablet"),
                made("no-mode-switch", "radio->tablet", "no path leads from radio to tablet"),
            ],
            [
                "no path leads from wired to radio and tablet (2 modes)",
                "no path leads from radio to tablet",
            ],
        ),
        (
            [
                made("deadlock", "hub.a+tile.b", "hub in a and tile in b wait forever"),
                made("deadlock", "hub.a+tile.c", "hub in a and tile in c wait forever"),
            ],
            ["hub in a and tile in b wait forever", "hub in a and tile in c wait forever"],
        ),
        (
            [
                made("stuck-chip", "hub.a", "hub stays in a forever", variants=("x=1",)),
                made("stuck-chip", "hub.b", "hub stays in b forever"),
            ],
            ["hub stays in a forever", "hub stays in b forever"],
        ),
        (
            [
                made("unspecified-reception", "hub.hub.x", "hub in hub has no answer to x"),
                made("unspecified-reception", "hub.hub.y", "hub in hub has no answer to y"),
            ],
            ["hub in hub has no answer to x and y (2 messages)"],
        ),
        (
            [
                made("stuck-chip", "dock.a", "dock stays in a forever"),
                made("stuck-chip", "hub.a", "hub stays in a forever", line=2),
                made("stuck-chip", "tile.a", "tile stays in a forever"),
            ],
            ["each of dock and tile stays in a forever", "hub stays in a forever"],
        ),
    ],
    ids=["another cause", "modes", "several chips", "another variant", "same names",
         "other lines"],
)  # fmt: skip
def test_only_findings_of_one_cause_are_grouped(
    findings: Sequence[Finding], texts: Sequence[str]
) -> None:
    """Not those that differ in more than a name, concern several chips, or occur elsewhere."""
    assert [group.text for group in groups_of(findings)] == texts


def test_brief_is_a_line_for_each_entry(verdict: Verdict) -> None:
    """With a place where an editor can go, the level, and the id."""
    lines = [line for line in shown(verdict, Showing(brief=True)) if ": error: " in line]
    assert [line.split(": error: ")[1].partition(" [")[0] for line in lines] == SENTENCES
    form = re.compile(r"\S+\.yaml:\d+:\d+: error: .+ \[[a-z-]+:[\w.]+( and \d+ more)?\]")
    assert all(form.fullmatch(line) for line in lines)


def test_in_full_shows_each_finding_with_its_whole_scenario(verdict: Verdict) -> None:
    """And nothing is folded away."""
    usual, full = shown(verdict, Showing()), shown(verdict, Showing(in_full=True))
    for finding in verdict.findings:
        assert f"  {finding.text}" in full
        assert sum(line.strip() == finding.id for line in full) == 1
    assert sum(line.startswith("    1. ") for line in full) == len(verdict.findings)
    assert usual[-1] == "▸ --in-full shows what is folded"
    assert not [line for line in full if "▸" in line or "--in-full" in line]
    assert [line for line in full if line.startswith("  dims ")]
    assert not [line for line in usual if line.startswith("  dims ")]


def test_only_and_limit_choose_and_count_what_they_leave_out(verdict: Verdict) -> None:
    """The title is about all findings, whatever is shown."""
    only = shown(verdict, Showing(only=("broken-requirement",)))
    assert only[0] == "unfinished pedal: 18 errors"
    assert only[-1] == "not shown: 17 findings of other kinds than broken-requirement"
    one = "unspecified-reception:mcu.dim.usb_configured"
    assert f"  {one}" in shown(verdict, Showing(only=(one,)))
    limited = shown(verdict, Showing(limit=1))
    assert "14 more findings: 13 unspecified-reception, 1 broken-requirement" in limited
    assert sum(line.startswith("    1. ") for line in limited) == 1


def test_steps_that_were_shown_are_not_shown_again(tmp_path: Path) -> None:
    """A scenario says where its beginning stands; in full, and in Markdown, it is whole."""
    states = ["a", "b", "c", "d", "e", "f"]
    rules = ", ".join(f"{x}{y}: {{in: {x}, to: {y}}}" for x, y in pairwise(states))
    text = f"""\
device: long way
chips:
  hub:
    states: {{{", ".join(f"{name}: {{}}" for name in states)}}}
    variables: {{x: {{range: [0, 1]}}}}
    rules: {{{rules}, over: {{in: f, do: x = x + 1}}}}
requirements:
  never_f: {{text: Never at the end, never: hub.f}}
"""
    (tmp_path / "device.yaml").write_text(text, encoding="utf-8")
    verdict = checked(str(tmp_path / "device.yaml"))
    codes = [(one.code, one.steps) for one in verdict.findings]
    assert codes == [("out-of-range", 7), ("broken-requirement", 5)]
    usual = shown(verdict, Showing())
    assert "  1-4. as in out-of-range:hub.x" in usual
    assert sum(line.startswith("    5. ") for line in usual) == 2
    assert not [line for line in shown(verdict, Showing(in_full=True)) if "as in" in line]
    assert "as in" not in markdown_of(verdict_report(verdict))


def test_assumptions_are_folded_and_documents_open_them() -> None:
    """A terminal counts them; in full it lists them."""
    verdict = checked(str(MODELS / "small" / "session.yaml"))
    several = [one for one in verdict.requirements if len(one.rests_on) > 1]
    assert several
    usual = "\n".join(shown(verdict, Showing()))
    full = "\n".join(shown(verdict, Showing(in_full=True)))
    page = markdown_of(verdict_report(verdict))
    for one in several:
        summary = f"assuming {len(one.rests_on)} things that eventually happen"
        assert f"{summary}: {'; '.join(one.rests_on)}" in full
        assert f"<summary>{summary}</summary>" in page
        for assumed in one.rests_on:
            assert assumed not in usual.partition("requirements")[2]


def test_what_holds_is_folded_beside_errors_only(verdict: Verdict) -> None:
    """Where nothing is wrong, every requirement is a line."""
    assert "  1 other holds ▸" in shown(verdict, Showing())
    blocks = verdict_report(replace(verdict, findings=()))
    chapter = next(one for one in blocks if isinstance(one, doc.Chapter))
    names = [doc.plain(row.cells[0]) for row in chapter.blocks[0].rows]  # type: ignore[union-attr]
    assert names == ["dims", "awake"]
