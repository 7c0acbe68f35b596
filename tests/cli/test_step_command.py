"""`modecheck step` from outside: scripted sessions through a pipe and on a terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.running import MODELS, Run, on_terminal, run

STARTER = str(MODELS / "starter" / "device.yaml")
TANDEM = str(MODELS / "tandem" / "device.yaml")
TWIN = str(MODELS / "faulty" / "silent_plug.yaml")


def walked(device: str, lines: str | bytes, *arguments: str, folder: Path | None = None) -> Run:
    """A session whose lines come through a pipe."""
    given = lines if isinstance(lines, bytes) else lines.encode()
    return run("step", device, *arguments, folder=folder, given=given)


def test_a_scripted_session_with_the_starter() -> None:
    """Plug in, let the picture arrive, look, take it back: it ends with the input."""
    result = walked(STARTER, "1\n3\nvalues\ntrace\nback\n")
    assert (result.code, result.err) == (0, "")
    assert result.out.startswith("starter: choose a step by its number, or help\n")
    assert "step 1: the player plugs the cable in" in result.out
    assert "receiver changing → on_cable" in result.out
    assert "after 2 steps, in mode wired" in result.out
    assert "receiver.sounding false" in result.out
    assert result.out.count("after 1 step, in no mode") == 2
    assert "> " not in result.out
    assert [line for line in result.out.splitlines() if len(line) > 80] == []


def test_a_scripted_session_with_tandem(tmp_path: Path) -> None:
    """Start all chips, keep the walk, and take the same walk anew; an option chooses
    the variant.
    """
    lines = "3\n1\n1\nkeep walk.json\n"
    result = walked(TANDEM, lines, "--option", "on_unplug=fall_back", folder=tmp_path)
    assert (result.code, result.err) == (0, "")
    assert result.out.startswith("tandem (on_unplug=fall_back)")
    assert "step 1: hub has started" in result.out
    assert "3 steps kept in walk.json" in result.out
    assert [line for line in result.out.splitlines() if len(line) > 80] == []
    again = walked(TANDEM, "retake walk.json\n", folder=tmp_path)
    assert again.code == 0
    last = result.out.split("step 3:")[1].split("3 steps kept")[0]
    assert again.out.endswith(last)


def test_a_scenario_is_reached_by_the_id_of_its_finding() -> None:
    """As check tells it."""
    result = walked(TWIN, "findings\nalong deadlock:receiver.changing\nend\n1\n")
    assert result.code == 0
    assert "deadlock:receiver.changing\n" in result.out
    assert result.out.count("after 1 step") == 1


def test_findings_keep_to_the_bounds() -> None:
    """And say that there may be more."""
    result = walked(TANDEM, "findings\n", "--max-states", "50")
    assert "incomplete: there may be more" in result.out


@pytest.mark.parametrize("lines", ["99\n", "bck\n", b"\xff\xfe\n", "retake nowhere\n1\n"])
def test_a_line_that_is_not_obeyed_gives_exit_code_2(lines: str | bytes) -> None:
    """What stands behind it is done all the same."""
    result = walked(STARTER, lines)
    assert result.code == 2
    assert "Traceback" not in result.err
    assert ("step 1:" in result.out) == ("1" in str(lines))


def test_nothing_to_read_is_no_error() -> None:
    """The possible steps are shown, and that is all."""
    result = walked(STARTER, "")
    assert result.code == 0
    assert "  1  the player plugs the cable in" in result.out


def test_a_device_that_is_not_there_gives_exit_code_2() -> None:
    """As with every command."""
    assert walked("nowhere.yaml", "1\n").code == 2


def session_on_terminal(lines: str, **env: str) -> tuple[int, str]:
    """The exit code of a session on a terminal of its own, and what it shows in 60 columns."""
    return on_terminal("step", STARTER, typed=lines, env={"COLUMNS": "60", **env})


def test_a_terminal_is_asked_and_shown_colour() -> None:
    """A prompt stands before each line; a wrong one is told, and forgiven."""
    code, shown = session_on_terminal("1\nbck\nend\n")
    assert code == 0
    assert shown.count("> ") >= 3
    assert "did you mean 'back'?" in shown
    assert "\x1b[1m" in shown
    code, plain = session_on_terminal("1\n\x04", NO_COLOR="1")
    assert code == 0
    assert "\x1b[" not in plain
    assert max(map(len, plain.splitlines())) <= 60
