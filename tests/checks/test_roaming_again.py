"""Random runs bounded by the clock tell the same again, as far as the clock allows."""

from __future__ import annotations

import pytest

from modecheck.checks.roaming import shrinking
from modecheck.checks.roaming.roam import Roaming, roam
from modecheck.model.devices import read_device
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
    assert first.way == later.way
    assert (first.steps or 0) > 8


def test_a_small_product_ends_by_itself() -> None:
    """By a rule that depends on the seed alone, long before the time is over: when half of all runs
    brought nothing new. Here everything was seen by then.
    """
    result = roam([read_device(str(STARTER))], Roaming(seconds=60, depth=12, engine="plain"))
    assert result.stopped_by == "2,048 runs in a row that brought nothing new"
    assert not result.by_clock
    assert result.seen.runs == 4_096
    assert result.seen.estimate.states == verdict_on(STARTER).explored[0].exploration.state_count


def test_the_clock_is_named_where_it_decided() -> None:
    """One round is walked however short the time is, and what it saw is what so many runs see."""
    device = read_device(str(STARTER))
    short = roam([device], Roaming(seconds=1e-6, depth=12, engine="plain"))
    assert short.by_clock
    counted = roam([device], Roaming(runs=short.seen.runs, depth=12, engine="plain"))
    assert not counted.by_clock
    assert short.over_time == counted.over_time
