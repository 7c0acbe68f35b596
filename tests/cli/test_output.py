"""What people see: colour on terminals only, 80 columns in pipes, and no crash on odd outputs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.running import MODELS, PATIENCE, Run, environment, on_terminal, run, run_alone
from tests.cli.sample import SAMPLE, UNSOUND

TWINS = ("volatile_bond", "inverted_plug_detect", "update_interrupted", "stale_replay")
"""Faulty twins of the small machines, which are quickly checked."""

COLOUR = "\x1b["
PIPED_WIDTH = 80


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the sample device."""
    (tmp_path / "device.yaml").write_text(SAMPLE, encoding="utf-8")
    return tmp_path


def words_too_long(line: str) -> bool:
    """Whether the line holds a name that cannot be broken, such as an id or a file."""
    return any(len(word) > PIPED_WIDTH - 12 for word in line.split())


@pytest.mark.parametrize("twin", TWINS)
def test_piped_output_has_80_columns(twin: str) -> None:
    """No colour, no trailing blanks; only ids and names of files may be longer."""
    result = run("check", f"faulty/{twin}.yaml", folder=MODELS)
    assert result.code == 1
    assert COLOUR not in result.out + result.err
    lines = result.out.splitlines()
    assert [line for line in lines if line != line.rstrip()] == []
    assert [line for line in lines if len(line) > PIPED_WIDTH and not words_too_long(line)] == []


def shown_on_terminal(folder: Path, *arguments: str, **env: str) -> str:
    """What a run shows on a terminal of its own."""
    return on_terminal(*arguments, folder=folder, env=env)[1]


def test_a_terminal_is_shown_colour(folder: Path) -> None:
    """And none when the person, or the terminal, does not want it (no-color.org)."""
    arguments = ("check", "device.yaml", *UNSOUND)
    assert COLOUR in shown_on_terminal(folder, *arguments)
    assert COLOUR not in shown_on_terminal(folder, *arguments, NO_COLOR="1")
    assert COLOUR not in shown_on_terminal(folder, *arguments, TERM="dumb")


@pytest.mark.parametrize("columns", ["40", "60", "200"])
def test_a_terminal_is_filled_but_not_overrun(columns: str) -> None:
    """Lines are broken where the terminal ends, and before they are hard to read."""
    shown = shown_on_terminal(
        MODELS / "faulty", "check", "volatile_bond.yaml", COLUMNS=columns, NO_COLOR="1"
    )
    longest = max(
        len(line)
        for line in shown.splitlines()
        if not any(len(word) > int(columns) - 12 for word in line.split())
    )
    assert longest <= min(int(columns), 100)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-16"])
def test_an_output_that_lacks_characters_is_no_reason_to_fail(encoding: str, folder: Path) -> None:
    """What it cannot show is replaced, in results and in errors."""
    env = {"PYTHONIOENCODING": encoding, "LC_ALL": "C"}
    arguments = ("check", "device.yaml", *UNSOUND)
    found = run_alone(*arguments, folder=folder, env=env)
    assert (found.code, found.err) == (1, "")
    (folder / "wrong.yaml").write_text("device: gerät 状態\nchps: {}\n", encoding="utf-8")
    wrong = run_alone("check", "wrong.yaml", folder=folder, env=env)
    assert (wrong.code, wrong.out) == (2, "")
    assert "Traceback" not in wrong.err
    assert run_alone("--help", env=env).code == 0
    assert run_alone("chéck", env=env).code == 2


def with_output(folder: Path, shell: str) -> Run:
    """A run in a shell, with an output of its kind."""
    command = f'"{sys.executable}" -m modecheck check device.yaml {" ".join(UNSOUND)} {shell}'
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", command],
        cwd=folder, env=environment(), capture_output=True, timeout=PATIENCE, check=False,
    )  # fmt: skip
    return Run(done.returncode, done.stdout.decode(), done.stderr.decode())


@pytest.mark.parametrize(
    ("shell", "codes"),
    [
        ("| head -1", {0, 1, 3}),
        ("| true", {1, 3}),
        (">&-", {1}),
        ("2>&-", {1}),
        (">&- 2>&-", {1}),
        ("> /dev/full", {2}),
    ],
)
def test_an_output_that_ends_early_is_no_traceback(
    shell: str, codes: set[int], folder: Path
) -> None:
    """A reader that has seen enough, a closed output, a full disk."""
    result = with_output(folder, shell)
    assert result.code in codes, result.err
    assert "Traceback" not in result.err
    assert "Exception ignored" not in result.err


def test_notes_go_nowhere_when_the_error_output_is_closed(folder: Path) -> None:
    """And not into standard output, which may be read by a program."""
    (folder / "device.yaml").rename(folder / "base.yaml")
    text = "device: more\nbased_on: base.yaml\nchips: {hub: {variables: {x: bool}}}\n"
    (folder / "device.yaml").write_text(text, encoding="utf-8")
    assert "note: overlay adds variable 'x'" in with_output(folder, "").err
    result = with_output(folder, "2>&-")
    assert result.code == 1
    assert "note:" not in result.out


def test_a_closed_error_output_is_no_traceback(folder: Path) -> None:
    """Errors that nobody wants to read are still errors."""
    (folder / "device.yaml").write_text("device: d\n", encoding="utf-8")
    assert with_output(folder, "2>&-").code == 2
    assert with_output(folder, ">&- 2>&-").code == 2


def test_the_list_of_commands_has_whole_sentences() -> None:
    """Each fits its line, so that none ends in dots."""
    commands = run("--help").out.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    assert len(commands) > 20
    assert [line for line in commands if not line.endswith(".") or line.endswith("...")] == []
