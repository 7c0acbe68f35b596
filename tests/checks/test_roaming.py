"""Random runs: faults are found, told as a complete check tells them, and made short."""

from __future__ import annotations

import random
import re
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.judged import FALLS
from modecheck.checks.roaming import shrinking
from modecheck.checks.roaming.estimates import Estimate, estimate_of
from modecheck.checks.roaming.roam import Roamed, Roaming, roam
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.engine.search.exploration import explore
from modecheck.engine.search.walking import StateSample, hash_of
from modecheck.model.devices import read_device, variants
from modecheck.product.composition import compose
from tests.checks.finite_runs import DECIDED, shown_by_finite_runs
from tests.generation.devices import Drawn, devices
from tests.models.bundled import CLEAN, TANDEM, TWINS, is_small, name_of, verdict_on
from tests.sweeps import sweep

RUNS = 512
SEEDS = (1, 2)
"""The benchmark takes five seeds and ten seconds."""
LONGER = {
    "broken-requirement:one_output",
    "deadlock:hub.leaving_ble",
    "broken-requirement:let_go_when_silent",
}
"""Findings for which so few runs are not enough."""


def roamed(path: Path, seed: int, runs: int = RUNS) -> Roamed:
    return roam([read_device(str(path))], Roaming(runs=runs, seed=seed))


EXPECTED = re.compile(rf'finding: "?({"|".join(DECIDED)}):')
SAFETY_TWINS = [path for path in TWINS if EXPECTED.search(path.read_text("utf-8"))]
"""Those with a fault that a finite run shows, unless an endless run alone breaks a requirement."""


@pytest.mark.thorough
def test_most_twins_have_a_fault_that_a_finite_run_shows() -> None:
    """The tests below have something to find."""
    assert sum(1 for twin in filter(is_small, SAFETY_TWINS) if shown_by_finite_runs(twin)) >= 15


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("twin", sweep(SAFETY_TWINS, is_small), ids=name_of)
def test_a_twin_is_found_with_a_short_scenario(twin: Path, seed: int) -> None:
    """In the same words as by a complete check, nothing else with it but what falls with a fault
    that no walk can show, and at most 1.5 times as long; here the search from the start reaches
    all, so that it is exactly as long.
    """
    expected = shown_by_finite_runs(twin)
    if not expected:
        pytest.skip("only an endless run shows its fault")
    result = roamed(twin, seed)
    found = {finding.id: finding for finding in result.findings}
    verdict = verdict_on(twin)
    falls = {one.need.name for one in verdict.requirements if one.verdict == FALLS}
    falling = {f"broken-requirement:{name}" for name in falls}
    assert found.keys() <= {finding.id for finding in verdict.findings} | falling
    assert expected.keys() - found.keys() <= LONGER
    assert found
    for id_ in found.keys() & expected.keys():
        finding = found[id_]
        assert (finding.text, finding.place) == (expected[id_].text, expected[id_].place)
        assert finding.steps == expected[id_].steps
        assert finding.trace is not None
        assert len(finding.scenario) == finding.steps


@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_a_time_stop_is_reported_as_such_and_not_as_a_deadlock(engine: EngineName) -> None:
    """The pedal waits in no rest state, but there a rule is due: as a complete check says."""
    twin = next(path for path in TWINS if path.stem == "repeats_before_it_may")
    result = roam([read_device(str(twin))], Roaming(runs=64, engine=engine))
    (found,) = result.findings
    (expected,) = (one for one in verdict_on(twin).findings if one.code == "time-stop")
    assert (found.id, found.text, found.steps) == (expected.id, expected.text, expected.steps)
    assert not result.longer


@pytest.mark.thorough
@settings(max_examples=8)
@given(devices(starts=True, options=False, timed=True))
def test_nothing_is_seen_that_a_complete_check_does_not_find(drawn: Drawn) -> None:
    """In random devices on a clock, of what a finite run shows without requirements."""
    device = drawn.read()
    assume(explore(compose(device), max_states=500).complete)
    verdict = check([device], search=Search(engine="plain"))
    result = roam([device], Roaming(runs=64, depth=60, engine="plain"))
    seen = {one.id for one in result.findings if one.code in DECIDED - {"broken-requirement"}}
    assert seen <= {one.id for one in verdict.findings}


@pytest.mark.parametrize("model", sweep(CLEAN, lambda model: model != TANDEM), ids=name_of)
def test_nothing_is_seen_in_a_clean_model(model: Path) -> None:
    """There is nothing."""
    assert roamed(model, 1, 128).findings == ()


@pytest.mark.thorough
@pytest.mark.parametrize(
    "twins",
    sweep(
        [list(filter(is_small, SAFETY_TWINS)), SAFETY_TWINS],
        lambda twins: all(map(is_small, twins)),
    ),
    ids=["small", "all"],
)
def test_what_no_search_from_the_start_reaches_is_cut_and_searched_along(
    twins: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With bounds so small that only the run itself can be made short, it is still much shorter
    than the run, and never shorter than the shortest; the result says that it may not be that.
    """
    monkeypatch.setattr(shrinking, "FROM_START", 2)
    monkeypatch.setattr(shrinking, "ALONG", 300)
    ratios = []
    for twin in twins:
        expected = shown_by_finite_runs(twin)
        result = roamed(twin, 1, 256)
        for finding in (one for one in result.findings if one.id in expected):
            shortest = expected[finding.id].steps
            assert finding.steps is not None
            assert shortest is not None
            assert finding.steps >= shortest
            ratios.append(finding.steps / max(shortest, 1))
            if shortest > 2:
                assert finding.id in result.longer
    assert sum(ratio <= 1.5 for ratio in ratios) >= 0.9 * len(ratios)
    assert max(ratios) <= 2.5


@pytest.mark.thorough
def test_variants_are_walked_through_together() -> None:
    """A device with options is one device: what was seen is told of all its variants."""
    first = read_device(str(TANDEM))
    every = [read_device(str(TANDEM), choice) for choice in variants(first)]
    result = roam(every, Roaming(runs=64))
    assert len(result.variants) == len(every) > 1
    assert result.seen.runs == 64


def test_what_was_seen_only_grows() -> None:
    """Rows over time never go back, and never say more than there is."""
    path = Path("models/starter/device.yaml")
    rows = roamed(path, 1).over_time
    for one, two in pairwise(rows):
        assert one.runs < two.runs
        assert one.rules <= two.rules
        assert one.meetings <= two.meetings
        assert one.switches <= two.switches
        assert one.estimate.states <= two.estimate.states
    assert rows[-1].estimate.states <= verdict_on(path).explored[0].exploration.state_count


def test_the_bound_of_chao_is_the_published_formula() -> None:
    """Chao 1984 (from memory): seen + f1^2 / (2 f2); f1 (f1 - 1) / 2 without doubletons."""
    assert Estimate(visits=100, states=40, once=10, twice=5, exact=True).in_all == 50
    assert Estimate(visits=100, states=40, once=4, twice=0, exact=True).in_all == 46


def test_the_estimates_are_right_where_draws_are_independent() -> None:
    """An urn of 1,000 kinds, 800 draws: the unseen share (Good 1953) and the number of kinds (Chao
    1984) come out within a tenth, where draws are what the formulas take them for.
    """
    sample, rng = StateSample(), random.Random(3)  # noqa: S311 - no secret
    draws = [rng.randrange(1_000) for _ in range(800)]
    for kind in draws:
        sample.visit(hash_of([kind]))
    estimate = estimate_of([sample.tally(0, len(draws))])
    assert estimate.states == len(set(draws))
    assert estimate.unseen_share == pytest.approx(1 - len(set(draws)) / 1_000, rel=0.1)
    assert estimate.in_all == pytest.approx(1_000, rel=0.1)
