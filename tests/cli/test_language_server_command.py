"""The command that an editor starts, where its packages are missing, and what it loads."""

from __future__ import annotations

import ast
import importlib.util
from pathlib import Path

import pytest

from modecheck.cli import language_server_command
from tests.cli.running import run


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the command that installs it, and the exit code of an invalid input."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)  # noqa: ARG005
    done = run("language-server")
    assert (done.code, done.out) == (2, "")
    assert "needs pygls and lsprotocol, not installed here" in done.err
    assert "pip install 'modecheck[editor]'" in done.err


def test_the_packages_are_loaded_when_the_server_starts() -> None:
    """Not for the help of the command, nor for that of modecheck."""
    tree = ast.parse(Path(language_server_command.__file__).read_text(encoding="utf-8"))
    loaded = [one.module for one in tree.body if isinstance(one, ast.ImportFrom)]
    assert loaded == ["__future__", "modecheck.cli.exit_codes"]
