"""What is said below the table of mode switches: how switches out of each mode end."""

from __future__ import annotations

from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.report.check_report import mode_chapter
from modecheck.report.style import Style
from modecheck.report.terminal import lines_of
from tests.generation.devices import device_from

SLOW_SWITCH = """\
device: a hub that switches slowly
modes: {wired: hub.wired, radio: hub.radio}
chips:
  hub:
    states: {wired: {rest: true}, first: {}, second: {}, radio: {rest: true}}
    rules:
      pull: {in: wired, on: pulled, to: first}
      search: {in: first, to: second}
      find: {in: second, to: radio}
      plug: {in: radio, on: plugged, to: wired}
actors: {player: {states: [here], rules: [{signal: pulled}, {signal: plugged}]}}
"""
"""Invented: two steps of the hub lead from one mode to the other."""


def told(states: int) -> str:
    """The chapter of an exploration that stops after that many states."""
    verdict = check([device_from(SLOW_SWITCH)], search=Search(limits=Limits(states=states)))
    chapter = mode_chapter(verdict, verdict.explored[0])
    return " ".join(" ".join(lines_of([chapter], Style())).split())


def test_the_most_steps_of_a_switch_are_told() -> None:
    """Two steps after the cable is pulled; plugging it in is a switch at once."""
    assert "switches out of wired: at most 2 steps of chips and links" in told(100)
    assert "switches out of radio: at most 0 steps of chips and links" in told(100)


def test_a_stopped_exploration_tells_no_bound() -> None:
    """What was not explored may take longer."""
    stopped = told(2)
    assert "switches out of wired and radio: how many steps they can take is not known" in stopped
    assert "at most" not in stopped
    assert "no upper bound" not in stopped
