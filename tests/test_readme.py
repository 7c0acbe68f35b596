"""What the README shows is what the tool does."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"<!-- shown by: modecheck (.*?) -->\n```text\n(.*?)```", README, re.DOTALL)


def test_the_readme_shows_something() -> None:
    """There is an example to hold it against."""
    assert SHOWN


@pytest.mark.parametrize(("command", "shown"), SHOWN)
def test_the_output_shown_is_the_output(command: str, shown: str) -> None:
    """A reader who runs the command sees the same."""
    result = subprocess.run(
        [sys.executable, "-m", "modecheck", *command.split()],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.stdout == shown


def test_every_finding_is_explained() -> None:
    """Each code of a finding stands in the README's table."""
    from modecheck.checks.findings import KINDS

    assert [code for code in KINDS if f"`{code}`" not in README] == []


def test_every_command_and_option_is_explained() -> None:
    """Nobody has to find an option by chance."""
    for command in ("check", "draw", "gaps"):
        shown = subprocess.run(
            [sys.executable, "-m", "modecheck", command, "--help"],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        options = set(re.findall(r"--[a-z-]+", shown)) - {"--help"}
        assert [name for name in sorted(options) if name not in README] == []


def test_every_link_leads_somewhere() -> None:
    """Links to files of the repository are not stale."""
    targets = re.findall(r"\]\(([^)#:]+)\)", README)
    assert [target for target in targets if not (ROOT / target).exists()] == []
