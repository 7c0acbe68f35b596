"""Exit codes, which CI relies on: 0 nothing found, 1 findings, 2 wrong input, 3 incomplete."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.running import MODELS, check, environment, run
from tests.cli.sample import BROKEN, SAMPLE

TANDEM = str(MODELS / "tandem" / "device.yaml")
STARTER = str(MODELS / "starter" / "device.yaml")
TWIN = str(MODELS / "faulty" / "volatile_bond.yaml")


def test_a_sound_device_exits_with_0() -> None:
    """And says so first."""
    result = run("check", STARTER)
    assert (result.code, result.err) == (0, "")
    assert result.out.splitlines()[0].endswith(": nothing found")


def test_a_device_with_findings_exits_with_1() -> None:
    """Each finding has an id, a place and a scenario."""
    result = run("check", TWIN)
    assert (result.code, result.err) == (1, "")
    assert "lost-bond:pair" in result.out
    assert "handshake" in result.out
    assert "    1. " in result.out


def test_an_incomplete_run_exits_with_3() -> None:
    """It says what stopped it, and claims nothing about the rest."""
    result = run("check", TANDEM, "--max-states", "50")
    assert (result.code, result.err) == (3, "")
    assert "incomplete, nothing found so far" in result.out
    assert "50 states" in result.out
    assert "stopped by" in result.out
    assert "is never" not in result.out
    assert "holds" not in result.out


def test_findings_count_more_than_incompleteness() -> None:
    """There is something to mend, however much was not seen."""
    result = run("check", TWIN, "--max-states", "120")
    assert result.code == 1
    assert "so far, incomplete" in result.out


def test_an_undecided_requirement_makes_the_run_incomplete(tmp_path: Path) -> None:
    """What was not checked is not passed."""
    result = check(ENDLESS, tmp_path)
    assert result.code == 3
    assert "undecided" in result.out
    assert "more than 4 are in flight" in result.out


ENDLESS = """
device: chatter
chips:
  tile: {states: [talking], rules: [{send: [hello]}]}
  bridge: {states: [passing], rules: [{on: hello, send: [hello]}]}
  hub: {states: [listening], rules: [{on: hello}]}
links:
  air: {from: tile, to: bridge, carries: [hello], when_full: wait, can: [lose]}
  cord: {from: bridge, to: hub, carries: [hello], when_full: wait}
requirements:
  R1: {text: Each arrives once, exactly_once: {sent: tile.hello, received: hub.hello}}
"""


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("chek", "device.yaml"), "No such command 'chek'. Did you mean 'check'?"),
        (("check",), "Missing argument 'DEVICE...'"),
        (("check", "device.yaml", "--jsn", "x"), "No such option '--jsn'. Did you mean '--json'?"),
        (("check", "device.yaml", "--quite"), "No such option '--quite'. Did you mean '--quiet'?"),
        (("chances", "device.yaml", "--junit", "x"), "'--junit'. It is an option of check."),
        (
            ("compare", "device.yaml", "--equivalence", "weak"),
            "'--equivalence' is called '--alike' now",
        ),
        (("check", "device.yaml", "--max-states", "0"), "--max-states"),
        (("check", "device.yaml", "--max-states", "many"), "--max-states"),
        (("check", "device.yaml", "--option", "x"), "'x' is not NAME=VALUE"),
        (("check", "device.yaml", "--option", "=x"), "'=x' is not NAME=VALUE"),
        (("check", "device.yaml", "--option", "a=1", "--option", "a=2"), "'a' is chosen twice"),
        (("check", "device.yaml", "--option", "polcy=stay"), "the device has no option 'polcy'"),
        (("check", "device.yaml", "--option", "on_unplug=sty"), "did you mean 'stay'?"),
        (("check", "device.yaml", "other.yaml"), "other.yaml"),
        (("check", "devise.yaml"), "did you mean 'device.yaml'?"),
        (("draw", "device.yaml"), "--to"),
        (("gaps", "devise.yaml"), "there is no file 'devise.yaml'"),
    ],
)
def test_a_wrong_command_line_exits_with_2(
    arguments: tuple[str, ...], told: str, tmp_path: Path
) -> None:
    """Unknown commands, options, choices and files are told in a line, not in a traceback."""
    (tmp_path / "device.yaml").write_text(SAMPLE, encoding="utf-8")
    result = run(*arguments, folder=tmp_path)
    assert (result.code, result.out) == (2, "")
    assert told in result.err
    assert "Traceback" not in result.err


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        ((), 0, "on_unplug=stay, brightness=low:"),
        (("--option", "on_unplug=stay"), 0, "on_unplug=stay"),
        (("--option", "on_unplug=fall_back"), 1, "on_unplug=fall_back"),
        (("--option", "brightness=high", "--option", "on_unplug=fall_back"), 1, "brightness=high"),
        (("--every-option",), 1, "only with on_unplug=fall_back"),
        (("--every-option", "--option", "on_unplug=stay"), 0, "brightness=high"),
    ],
)
def test_options_choose_a_variant_or_all(
    arguments: tuple[str, ...], code: int, told: str, tmp_path: Path
) -> None:
    """By default the first choices; a choice narrows `--every-option`."""
    result = check(SAMPLE, tmp_path, *arguments)
    assert result.code == code, result.out
    assert told in " ".join(result.out.split())
    assert (BROKEN in result.out) == bool(code)


@pytest.mark.parametrize("arguments", [(), ("check",), ("draw",), ("gaps",)])
def test_help_exits_with_0(arguments: tuple[str, ...]) -> None:
    """Every command explains itself, and the first page names the exit codes."""
    result = run(*arguments, "--help")
    assert (result.code, result.err) == (0, "")
    assert result.out.startswith("Usage: ")
    assert result.out == run(*arguments, "-h").out
    assert max(map(len, result.out.splitlines())) <= 80
    if not arguments:
        assert "0 nothing found, 1 findings, 2 invalid input, 3 incomplete" in result.out


BREAKS = """
import modecheck.cli.main as command_line

def broken(**_):
    raise IndexError("list index out of range")

command_line._modecheck.main = broken
command_line.main()
"""


@pytest.mark.parametrize("shown", [False, True])
def test_a_fault_of_modecheck_exits_with_70(shown: bool) -> None:
    """A CI job can tell it from a wrong model; where it arose is shown to who asks for it."""
    env = environment({"MODECHECK_TRACEBACK": "1"} if shown else {})
    done = subprocess.run(
        [sys.executable, "-c", BREAKS], env=env, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (70, "")
    assert "internal error: IndexError: list index out of range" in done.stderr
    assert "a bug in modecheck" in done.stderr
    assert ("Traceback" in done.stderr) == shown


def test_the_version_is_told() -> None:
    """Name and number."""
    result = run("--version")
    assert (result.code, result.out.split()[0]) == (0, "modecheck,")
