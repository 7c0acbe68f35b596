"""The compiled engine against the plain interpreter, with which it shares no code."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from modecheck.checks.explored import Verdict
from modecheck.checks.gaps import gap_tables
from modecheck.checks.judged import Judged
from modecheck.checks.verdict import check
from modecheck.engine.choice import OPTIMISED_FROM, Search, explore_with
from modecheck.engine.contract.space import Limits, Space
from modecheck.engine.search.exploration import explore
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.scenario.replay import replay
from tests.engine.test_second_reading import assert_same_in_both
from tests.generation.corners import CORNERS
from tests.generation.devices import Drawn, device_from, devices
from tests.models.bundled import stands_for_all
from tests.second_reading.search import search
from tests.sweeps import sweep

MOST_STATES = 600
"""Random products stay small: each also has to be compiled."""

EXAMPLES = 300 if settings().max_examples >= 100 else 12

BUNDLED = [
    *sorted(Path("models/small").glob("*.yaml")),
    *sorted(Path("models/faulty").glob("*.yaml")),
    Path("models/starter/device.yaml"),
    Path("models/tandem/device.yaml"),
]


pytestmark = pytest.mark.usefixtures("own_cache")


def verdict_of(device: Device, engine: str, threads: int = 1) -> Verdict:
    search = Search(engine=engine, threads=threads)  # type: ignore[arg-type]
    return check([device], search=search)


def transitions_of(space: Space) -> Counter[tuple[object, ...]]:
    """Every transition, states told by their values: numbers may differ between engines."""
    return Counter(
        (space.state(number), edge.label, space.state(edge.target), edge.moved, edge.events)
        for number in range(space.expanded)
        for edge in space.edges_from(number)
    )


def assert_same_space(one: Space, two: Space) -> None:
    """The same states, transitions, layers, coverage and failing steps."""
    assert one.state_count == two.state_count
    assert one.transitions == two.transitions
    assert one.layers == two.layers
    assert one.occupied == two.occupied
    assert one.observed.taken == two.observed.taken
    assert one.observed.encounters == two.observed.encounters
    counts = [{key: seen.count for key, seen in space.failures.items()} for space in (one, two)]
    assert counts[0] == counts[1]
    assert transitions_of(one) == transitions_of(two)
    assert {m: o.count for m, o in one.combinations().items()} == {
        m: o.count for m, o in two.combinations().items()
    }
    assert gap_tables(one) == gap_tables(two)


def assert_same_verdict(one: Verdict, two: Verdict) -> None:
    """The same findings with scenarios of the same length, and the same switches."""
    lengths = [sorted((f.id, f.steps, f.text) for f in verdict.findings) for verdict in (one, two)]
    assert [x[:2] for x in lengths[0]] == [x[:2] for x in lengths[1]]
    switches = [
        [(s.source, s.target, s.possible, s.direct, s.steps) for s in verdict.explored[0].switches]
        for verdict in (one, two)
    ]
    assert switches[0] == switches[1]
    endings = [
        [(e.mode, e.at_most, e.loss and len(e.loss.moves)) for e in verdict.explored[0].endings]
        for verdict in (one, two)
    ]
    assert endings[0] == endings[1]
    judged = [[(j.need.name, j.verdict) for j in verdict.requirements] for verdict in (one, two)]
    assert judged[0] == judged[1]


@given(devices(starts=True))
@settings(max_examples=EXAMPLES)
def test_both_engines_agree_on_random_devices(drawn: Drawn) -> None:
    """States, transitions, layers, findings and lengths of scenarios do not depend on the engine,
    nor on the number of threads; and every scenario can be replayed.
    """
    assert_both_agree(drawn)


@given(devices(starts=True, timed=True))
@settings(max_examples=EXAMPLES // 6)
def test_both_engines_agree_on_time(drawn: Drawn) -> None:
    """The same where time is counted."""
    assert_both_agree(drawn)


def assert_both_agree(drawn: Drawn) -> None:
    device = drawn.read()
    bounded = Search(engine="plain", limits=Limits(states=MOST_STATES))
    plain = check([device], search=bounded)
    assume(plain.explored[0].exploration.complete)
    verdicts = [verdict_of(device, "compiled", threads) for threads in (1, 2)]
    for verdict in verdicts:
        assert_same_space(plain.explored[0].exploration, verdict.explored[0].exploration)
        assert_same_verdict(plain, verdict)
        for finding in verdict.findings:
            if finding.trace is not None:
                list(replay(verdict.explored[0].exploration.product, finding.trace.moves))
    one, two = verdicts
    assert [(f.id, f.trace) for f in one.findings] == [(f.id, f.trace) for f in two.findings]


@pytest.mark.parametrize("timed", [False, True])
def test_code_for_large_products_agrees_on_random_devices(timed: bool) -> None:
    """It is part of the kernel that explores, and makes no records of steps."""

    @given(devices(starts=True, timed=timed))
    @settings(max_examples=EXAMPLES // 10)
    def agrees(drawn: Drawn) -> None:
        plain = explore(compose(drawn.read()), max_states=MOST_STATES)
        assume(plain.complete)
        for threads in (1, 2):
            how = Search(engine="compiled", threads=threads, expected=OPTIMISED_FROM)
            assert_same_space(plain, explore_with(plain.product, how))

    agrees()


@pytest.mark.thorough
@given(devices(starts=True, runs=True))
@settings(max_examples=EXAMPLES // 4)
def test_both_engines_agree_on_requirements_about_runs(drawn: Drawn) -> None:
    """The same verdicts, for the same reasons, with scenarios of the same length."""
    assert_judged_alike(drawn)


@given(devices(starts=True, runs=True, timed=True))
@settings(max_examples=EXAMPLES // 10)
def test_both_engines_agree_on_requirements_in_time(drawn: Drawn) -> None:
    """The same of what has to follow within some time."""
    assert_judged_alike(drawn)


def assert_judged_alike(drawn: Drawn) -> None:
    device = drawn.read()
    bounded = Search(engine="plain", limits=Limits(states=MOST_STATES))
    plain = check([device], search=bounded)
    assume(plain.explored[0].exploration.complete)
    # The same bound: it decides which requirements share an exploration, and so their loops.
    compiled = check([device], search=replace(bounded, engine="compiled", threads=1))
    stopped = {one.need.name for one in plain.requirements if "was stopped" in one.remark}
    told = [
        [
            (one.need.name, one.verdict, one.rests_on, one.remark, _length_of(one))
            for one in verdict.requirements
            if one.need.name not in stopped
        ]
        for verdict in (plain, compiled)
    ]
    assert told[0] == told[1]
    for _, verdict, *_ in told[0]:
        event(verdict)


def _length_of(judged: Judged) -> int | None:
    return judged.finding.steps if judged.finding is not None else None


@pytest.mark.parametrize("corner", CORNERS)
def test_all_three_agree_in_corners(corner: str) -> None:
    """The second reading, too, in small devices for what random ones seldom come to."""
    device = device_from(CORNERS[corner])
    plain = explore(compose(device))
    assert plain.complete
    assert_same_in_both(plain, search(device, plain.state_count))
    compiled = explore_with(plain.product, Search(engine="compiled", threads=1))
    assert_same_space(plain, compiled)


@pytest.mark.parametrize("path", sweep(BUNDLED, stands_for_all), ids=lambda path: path.stem)
def test_both_engines_agree_on_bundled_devices(path: Path) -> None:
    """The same holds for devices that people wrote; large ones are compared in counts alone."""
    device = read_device(str(path))
    product = compose(device)
    space, alone = (
        explore_with(product, Search(engine="compiled", threads=threads)) for threads in (2, 1)
    )
    assert (alone.state_count, alone.layers) == (space.state_count, space.layers)
    if space.state_count <= 5_000:
        plain, compiled = (
            verdict_of(device, engine, threads=2) for engine in ("plain", "compiled")
        )
        assert_same_space(plain.explored[0].exploration, space)
        assert_same_verdict(plain, compiled)


@pytest.mark.thorough
@given(devices(starts=True), st.integers(2, 60))
@settings(max_examples=EXAMPLES // 3)
def test_a_bound_of_states_is_told_and_claims_nothing_more(drawn: Drawn, most: int) -> None:
    """A stopped exploration says so, and finds nothing that the complete one does not find."""
    device = drawn.read()
    whole = check([device], search=Search(engine="plain", limits=Limits(states=MOST_STATES)))
    assume(whole.explored[0].exploration.complete)
    assume(whole.explored[0].exploration.state_count > most)
    part = check([device], search=Search(engine="compiled", limits=Limits(states=most), threads=2))
    assert not part.complete
    known = {finding.id for finding in whole.findings}
    assert all(is_part_of(finding.id, known) for finding in part.findings)


def is_part_of(found: str, known: set[str]) -> bool:
    """Whether a finding is known; of a deadlock the whole may know that fewer chips suffice."""
    code, _, subject = found.partition(":")
    if code != "deadlock":
        return found in known
    waiting = set(subject.split("+"))
    reduction = (id_.removeprefix("deadlock:") for id_ in known if id_.startswith("deadlock:"))
    return any(set(one.split("+")) <= waiting for one in reduction)
