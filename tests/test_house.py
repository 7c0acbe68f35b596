"""The house rules that tools can hold: lint, types, one test command, no stray files at the top."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TOP = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "modecheck", "models", "tests"}


def _run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_ruff_finds_nothing() -> None:
    """The code is clean under the rules that pyproject.toml chooses and explains."""
    result = _run("ruff", "check", "--no-cache", "modecheck", "tests")
    assert result.returncode == 0, result.stdout + result.stderr


def test_the_code_is_formatted() -> None:
    """Nobody has to discuss where a line breaks."""
    result = _run("ruff", "format", "--no-cache", "--check", "modecheck", "tests")
    assert result.returncode == 0, result.stdout + result.stderr


@pytest.mark.thorough
def test_mypy_finds_nothing() -> None:
    """Types are strict, in the tests too."""
    result = _run("mypy")
    assert result.returncode == 0, result.stdout + result.stderr


def test_ci_runs_the_commands_of_the_readme() -> None:
    """What a newcomer copies from the README is what CI runs, word for word."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^python3 -m venv .*$", readme, re.MULTILINE)
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert len(commands) == 2
    assert all(command in script for command in commands)


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="not a checkout")
def test_the_top_folder_holds_only_what_the_layout_names() -> None:
    """A newcomer sees at a glance where to begin."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    top = {name.split("/")[0] for name in listed if not name.startswith(".")}
    assert top <= TOP | {"diagrams"}
