"""Options for how much a check shows: they change neither its exit code nor its files."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, run
from tests.report.unfinished import unfinished

TANDEM_TWINS = ("connected_but_mute", "inverted_plug_detect", "repeats_before_it_may")
"""Faulty twins that had most to show, of those that are quickly checked."""
SCREEN = 24
"""Lines of a usual terminal, of 80 columns."""


@pytest.mark.parametrize(
    "options", [("--brief",), ("--in-full",), ("--only", "deadlock"), ("--limit", "0")]
)
def test_no_option_changes_the_exit_code_or_the_json(
    options: tuple[str, ...], tmp_path: Path
) -> None:
    """A filter must not turn a job green."""
    file = unfinished(tmp_path)
    result = run("check", str(file), *options, "--json", str(tmp_path / "all.json"))
    assert result.code == 1
    assert result.out.startswith("unfinished pedal: 18 errors\n")
    assert len(json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["findings"]) == 18


@pytest.mark.parametrize("twin", TANDEM_TWINS)
def test_brief_fits_on_a_screen_and_the_report_on_five(twin: str) -> None:
    """Of the twins with the longest reports; a longer line takes as many as it fills."""
    file = str(MODELS / "faulty" / f"{twin}.yaml")
    brief = run("check", file, "--brief").out.splitlines()
    assert sum(-(-len(line) // 80) or 1 for line in brief) <= SCREEN
    assert len(run("check", file).out.splitlines()) <= 5 * SCREEN


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--only", "deadlok"), "no finding has the code 'deadlok'. Did you mean 'deadlock'?"),
        (("--only", "dead:hub.x"), "no finding has the code 'dead'"),
        (("--limit", "-1"), "-1 is not in the range x>=0"),
        (("--brief", "--in-full"), "--brief and --in-full exclude each other"),
    ],
)
def test_a_choice_that_cannot_be_meant_is_an_error(
    options: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    """Before anything is explored."""
    result = run("check", str(unfinished(tmp_path)), *options)
    assert (result.code, result.out) == (2, "")
    assert said in " ".join(result.err.split())


def test_an_overlay_is_reported_in_brief_too(tmp_path: Path) -> None:
    """New findings, a line each."""
    file = unfinished(tmp_path)
    over = tmp_path / "over.yaml"
    over.write_text("requirements:\n  never_dim: {text: Never dim, never: mcu.dim}\n", "utf-8")
    result = run("check", str(file), "--with", str(over), "--brief")
    assert result.code == 1
    assert [line.partition(" [")[2] for line in result.out.splitlines() if ": error: " in line] == [
        "broken-requirement:never_dim]"
    ]
