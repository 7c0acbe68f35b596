"""The lines of the guide that let a shell complete commands, options, topics and files."""

from __future__ import annotations

import re

import pytest

from tests.cli.running import run
from tests.documents import GUIDE

SHELL = (GUIDE / "shell.md").read_text(encoding="utf-8")
LINES = re.findall(r"^.*_MODECHECK_COMPLETE=(\w+) modecheck.*$", SHELL, re.M)


def completed(**variables: str) -> str:
    """What the installed command prints for a shell."""
    return run(env=variables).out


@pytest.mark.parametrize("instruction", LINES)
def test_each_shell_gets_a_script(instruction: str) -> None:
    """In its own language, about this command."""
    script = completed(_MODECHECK_COMPLETE=instruction)
    assert f"_MODECHECK_COMPLETE={instruction.replace('source', 'complete')}" in script


def test_three_shells_are_documented() -> None:
    """Those that the library for commands knows."""
    assert LINES == ["bash_source", "zsh_source", "fish_source"]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("modecheck ch", {"plain,chances", "plain,check"}),
        ("modecheck guide la", {"plain,language", "plain,large"}),
        ("modecheck explain dead-", {"plain,dead-letter", "plain,dead-rule"}),
        ("modecheck schema c", {"plain,chip"}),
        ("modecheck check --no-c", {"plain,--no-cache"}),
        ("modecheck check models/st", {"file,models/st"}),
        ("modecheck compare models/st", {"file,models/st"}),
    ],
)
def test_words_are_completed(words: str, found: set[str]) -> None:
    """Files are left to the shell, which knows them."""
    number = str(len(words.split()) - 1)
    told = completed(_MODECHECK_COMPLETE="bash_complete", COMP_WORDS=words, COMP_CWORD=number)
    assert set(told.split()) == found
