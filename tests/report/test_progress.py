"""Long work is never silent: it names its phase, on standard error alone."""

from __future__ import annotations

import io
import json
import os
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from modecheck.cli.exploring import reporter_for
from modecheck.engine.contract import phases
from modecheck.engine.contract.forked_task import ForkedTask, can_begin
from modecheck.engine.contract.phases import Phase, count, current, note, phase
from modecheck.engine.contract.space import Limits
from modecheck.report import progress
from tests.cli.running import MODELS, run

LARGE = str(MODELS / "published" / "philosophers_8.yaml")


class Shown(io.StringIO):
    """A stream that tells when a text was written to it."""

    def need(self, text: str) -> None:
        until = time.monotonic() + 60
        while text not in self.getvalue():
            assert time.monotonic() < until, self.getvalue()
            time.sleep(0.01)


class Terminal(Shown):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything is shown at once, and again soon."""
    monkeypatch.setenv("MODECHECK_PROGRESS", "0")
    monkeypatch.setattr(progress, "BETWEEN_LINES", 0.01)
    monkeypatch.setattr(progress, "BETWEEN_DISPLAYS", 0.01)


@pytest.mark.usefixtures("hurry")
def test_a_note_is_shown_in_place_of_figures() -> None:
    """Of the innermost phase; it ends with it."""
    for stream in (Shown(), Terminal()):
        with reporter_for(stream):
            with phase("exploring"):
                note("level 7, 2 workers")
                stream.need("level 7, 2 workers")
            assert current().note == ""


def test_phases_lie_in_one_another() -> None:
    """All are named, with the states that were counted last; and they end with an error, too."""
    with phase("checking"), phase("exploring"):
        count(7)
        assert current() == Phase("checking, exploring", 7)
        with phase("dividing"):
            assert current().name == "checking, exploring, dividing"
        with suppress(ZeroDivisionError), phase("dividing"):
            _ = 1 // 0
        assert current() == Phase("checking, exploring", 7)
    assert current() == Phase("working", 0)


def test_other_threads_are_a_part_of_what_the_main_one_does() -> None:
    """What they begin and count is not shown."""
    seen: list[Phase] = []

    def work() -> None:
        with phase("helping"):
            count(9)
            seen.append(current())

    with phase("checking"):
        helper = threading.Thread(target=work)
        helper.start()
        helper.join()
    assert seen == [Phase("checking", 0)]


@pytest.mark.usefixtures("hurry")
def test_off_a_terminal_there_is_a_line_for_each_phase() -> None:
    """With its name, its states, where there are any, and the seconds so far."""
    shown = Shown()
    with reporter_for(shown, "checking") as reporter:
        with phase("exploring"):
            reporter.progress(states=1234, transitions=5678, frontier=9, depth=3)
            shown.need("checking, exploring: 1,234 states, 0 s\n")
        with phase("looking for deadlocks"):
            shown.need("checking, looking for deadlocks: 0 s\n")
    assert "\r" not in shown.getvalue()


@pytest.mark.usefixtures("hurry")
def test_on_a_terminal_one_line_is_rewritten_and_cleared() -> None:
    """Figures of an exploration, and else the seconds; no line is left behind."""
    shown = Terminal()
    with reporter_for(shown, "checking") as reporter:
        with phase("exploring"):
            reporter.progress(states=1234, transitions=5678, frontier=9, depth=3)
            shown.need("checking, exploring: 1,234 states, 5,678 transitions")
        shown.need("checking: 0 s")
    assert "\n" not in shown.getvalue()
    assert shown.getvalue().endswith("\r")


def test_what_is_soon_done_says_nothing() -> None:
    """Off a terminal."""
    shown = Shown()
    with reporter_for(shown, "checking"):
        pass
    assert shown.getvalue() == ""


@pytest.mark.parametrize(
    ("chosen", "seconds"),
    [("", 5.0), ("7.5", 7.5), ("never", float("inf")), ("soon", 5.0), ("-1", 0.0)],
)
def test_patience_can_be_chosen(
    chosen: str, seconds: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is no number is not taken for one."""
    monkeypatch.setenv("MODECHECK_PROGRESS", chosen)
    assert progress.patience() == seconds


@pytest.mark.usefixtures("hurry")
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process cannot be copied here")
def test_a_process_can_be_copied_while_it_is_watched() -> None:
    """No thread is alive in that moment, so that the copy waits for none; and it goes on after."""
    shown = Shown()
    with reporter_for(shown, "checking"):
        assert can_begin(2, Limits()) == (threading.active_count() == 2)
        alone = ForkedTask(lambda: (threading.active_count(), phases.threads()))
        assert alone.result() == (1, 0)
        shown.truncate(0)
        shown.need("checking: ")


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (("check", LARGE, "--no-cache"), "checking"),
        (("check", LARGE, "--no-cache", "--quiet"), "checking"),
        (("times", str(MODELS / "small" / "session.yaml")), "measuring times"),
        (("gaps", LARGE), "looking for gaps"),
        (("compare", LARGE, LARGE, "--no-cache"), "comparing"),
        (("roam", LARGE, "--runs", "3"), "walking at random"),
        (("tours", LARGE, "--max-states", "500"), "planning tests"),
    ],
)
def test_every_command_says_what_it_does(command: tuple[str, ...], said: str) -> None:
    """On standard error alone: standard output is the same as without."""
    loud, silent = run(*command, env={"MODECHECK_PROGRESS": "0"}), run(*command)
    assert loud.err.startswith(said), loud.err
    assert silent.err == ""
    assert (loud.code, loud.out) == (silent.code, silent.out)


def test_costs_are_listed_when_asked_for(tmp_path: Path) -> None:
    """States and seconds of each requirement; the JSON has them in any case."""
    file, device = tmp_path / "out.json", str(MODELS / "starter" / "device.yaml")
    usual = run("check", device, "--json", str(file))
    asked = run("check", device, "--costs")
    assert "\ncosts (states" not in usual.out
    assert "\ncosts (states" in asked.out
    told = json.loads(file.read_text("utf-8"))
    assert told["requirements"]
    for need in told["requirements"]:
        assert need["cost"]["states"] > 0
        assert need["cost"]["seconds"] >= 0
        assert f"  {need['id']}  " in asked.out
