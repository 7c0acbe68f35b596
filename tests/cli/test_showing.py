"""Options for how much a check shows: they change neither its exit code nor its files."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import run
from tests.report.unfinished import unfinished


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
