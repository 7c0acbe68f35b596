"""Random runs bounded by seconds tell the same again."""

from __future__ import annotations

from itertools import count

import pytest

from modecheck.checks.roaming import shrinking
from modecheck.checks.roaming.roam import Roaming, roam
from modecheck.model.devices import read_device
from modecheck.report.roam_report import roam_report
from modecheck.report.style import Style
from modecheck.report.terminal import lines_of
from tests.benchmarks.roam import narrow_way
from tests.models.bundled import STARTER, verdict_on
from tests.stepping import begin

COUNTERS = """
device: counters that only go up
chips:
  one: {variables: {n: {range: [0, 9]}}, states: [s], rules: [{if: n < 9, do: n = n + 1}]}
  two: {variables: {n: {range: [0, 9]}}, states: [s], rules: [{if: n < 9, do: n = n + 1}]}
  six: {variables: {n: {range: [0, 9]}}, states: [s], rules: [{if: n < 9, do: n = n + 1}]}
requirements:
  few: {text: One stays below eight, never: one.n == 8}
"""
"""Every run to the fault has other steps in between, and passes no state twice."""


def test_a_scenario_stays_the_same_however_long_the_walks_go_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is made of the runs of the round that first showed the fault; the bounds are so small that
    another run would give another scenario.
    """
    monkeypatch.setattr("modecheck.checks.roaming.roam.RUNS_A_ROUND", 1)
    monkeypatch.setattr(shrinking, "FROM_START_PLAIN", 1)
    monkeypatch.setattr(shrinking, "ALONG_PLAIN", 1)
    monkeypatch.setattr(shrinking, "MOST_REPLAYED", 1)
    device = begin(COUNTERS).product.device
    few = roam([device], Roaming(runs=32, depth=40, engine="plain"))
    many = roam([device], Roaming(runs=512, depth=40, engine="plain"))
    first, later = (
        next(one for one in result.findings if one.code == "broken-requirement")
        for result in (few, many)
    )
    assert first.trace == later.trace
    assert (first.steps or 0) > 8


def test_what_a_chip_did_in_vain_between_others_steps_is_cut(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Octal counters went round while others went on, and no part of the run can be left out whole;
    neither is that tried here, nor is searched. Three steps a counter are the fewest.
    """
    for bound in ("FROM_START", "ALONG", "MOST_REPLAYED"):
        monkeypatch.setattr(shrinking, bound, 1)
    device, how = begin(narrow_way(5)).product.device, Roaming(runs=1_024, seed=5)
    (short,) = roam([device], how).findings
    monkeypatch.setattr(shrinking, "MOST_REPLAYED_MORE", 0)
    (longer,) = roam([device], how).findings
    assert short.steps == 15
    assert (longer.steps or 0) > 15


@pytest.mark.thorough
def test_a_small_product_ends_by_itself() -> None:
    """By a rule that depends on the seed alone, long before the time is over: when half of all runs
    brought nothing new. Here everything was seen by then.
    """
    result = roam([read_device(str(STARTER))], Roaming(seconds=60, depth=12, engine="plain"))
    assert result.stopped_by == "2,048 runs in a row that found nothing new"
    assert not result.by_clock
    assert result.seen.runs == 4_096
    assert result.seen.estimate.states == verdict_on(STARTER).explored[0].exploration.state_count


@pytest.mark.thorough
def test_seconds_are_counted_by_the_work_done() -> None:
    """So that the walks end at the same run whatever time has passed; more seconds, more runs."""
    device = begin(COUNTERS).product.device
    once, again, longer = (
        roam([device], Roaming(seconds=seconds, depth=40, engine="plain"))
        for seconds in (0.2, 0.2, 0.8)
    )
    assert once.stopped_by == "the bound of 0.2 s of work"
    assert not once.by_clock
    assert once.over_time == again.over_time
    assert once.seen.runs < longer.seen.runs


def test_one_round_is_walked_however_short_the_time_is() -> None:
    """What it saw is what so many runs see."""
    device = read_device(str(STARTER))
    short = roam([device], Roaming(seconds=1e-6, depth=12, engine="plain"))
    counted = roam([device], Roaming(runs=short.seen.runs, depth=12, engine="plain"))
    assert short.over_time == counted.over_time


def test_the_clock_is_named_where_it_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a machine is so slow that the work takes more than twice as long, and five seconds."""
    clock = count(step=3.0)
    monkeypatch.setattr("modecheck.checks.roaming.roam.time.monotonic", lambda: next(clock))
    device = begin(COUNTERS).product.device
    slow = roam([device], Roaming(seconds=4, depth=40, engine="plain"))
    assert slow.by_clock
    assert slow.stopped_by == "the clock, before 4 s of work were done"
    assert len(slow.over_time) == 4, "looked at after 3, 6, 9, 12 and 15 seconds: 5 rounds"
    assert slow.seen.runs == 5 * 64
    told = " ".join(" ".join(lines_of(roam_report(slow), Style())).split())
    last = "time ended this after 320 runs: the result may differ next time; --runs 320"
    assert told.endswith(f"{last} reproduces this one")
