"""Sweeps over sets of states find what searches of the graph find: on arrays of truth values, and
on sets that kernels for a GPU keep, run by one thread of the processor.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings

from modecheck.engine.contract.space import Limits, ReachGoal, Space
from modecheck.engine.gpu.explore_on_gpu import explore_on_gpu
from modecheck.engine.gpu.host_device import HostDevice
from modecheck.engine.large.state_sets import BitFlags
from modecheck.engine.large.swept_space import SweptSpace
from modecheck.engine.native.graph import (
    CompiledExploration,
)
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.engine.gpu.swept import by_arrays, by_kernels, explored
from tests.generation.devices import Drawn, devices
from tests.models.bundled import is_small
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

ALWAYS = Path("models/faulty/goes_back_without_looking.yaml")
TINY = Path("models/faulty/mode_read_off_the_tablet.yaml")
BUNDLED = [
    *filter(is_small, sorted(Path("models/small").glob("*.yaml"))),
    *filter(is_small, sorted(Path("models/faulty").glob("*.yaml"))),
]


def flags_of(flags: Sequence[int] | object, count: int) -> list[int]:
    return [flags[number] for number in range(count)]  # type: ignore[index]


def goals_of(space: Space) -> Iterator[ReachGoal]:
    """Goals of all kinds: each condition, its contrary, without events, up to failing steps."""
    for bit in range(len(space.product.conditions)):
        yield ReachGoal(1 << bit)
        yield ReachGoal(0, 1 << bit, past_failures=False)
        yield ReachGoal(1 << bit, without_events=1)


def assert_finds_the_same(graph: CompiledExploration, swept: SweptSpace) -> None:
    """Whatever is asked of paths."""
    count, bits = graph.state_count, len(graph.product.conditions)
    assert swept.transitions == graph.transitions
    for goal in goals_of(graph):
        found = swept.can_reach(goal)
        assert flags_of(found, count) == list(graph.can_reach(goal))
        assert found.first_zero() == _first_zero(graph.can_reach(goal))
    assert flags_of(swept.can_reach_states([count - 1]), count) == list(
        graph.can_reach_states([count - 1])
    )
    everybody = (1 << len(graph.product.chips)) - 1
    assert list(swept.stuck(everybody)) == list(graph.stuck(everybody))
    last = range(max(count - 5, 0), count)
    assert [swept.path_to(number) for number in last] == [graph.path_to(n) for n in last]
    for bit in range(bits):
        for other in range(bits):
            ends = 1 << bit | 1 << other
            assert swept.first_loss(ends, without_events=1) == graph.first_loss(
                ends, without_events=1
            )
            assert swept.first_change(1 << bit, 1 << other) == graph.first_change(
                1 << bit, 1 << other
            )
    for bit in range(bits):
        assert_spreads_alike(graph, swept, 1 << bit, (1 << bits) - 1)
        assert_spreads_alike(graph, swept, 1 << bit, 0)


def _first_zero(flags: Sequence[int]) -> int | None:
    return list(flags).index(0) if 0 in flags else None


def assert_spreads_alike(
    graph: CompiledExploration, swept: SweptSpace, starts: int, blocked: int
) -> None:
    """The same states, and of several shortest paths the same one."""
    flags = graph.can_reach(ReachGoal(1))
    for one, two in (
        (graph.bfs(starts, blocked=blocked), swept.bfs(starts, blocked=blocked)),
        (
            graph.spread_from_initial(starts, blocked=blocked),
            swept.spread_from_initial(starts, blocked=blocked),
        ),
    ):
        inside = sorted(one.inside)
        assert sorted(two.inside) == inside
        for number in inside[-8:]:
            assert two.path_to(number) == one.path_to(number)
        assert two.first_zero(flags) == one.first_zero(flags)
        for bit in range(len(graph.product.conditions)):
            found = two.first(1 << bit, starts)
            assert found == one.first(1 << bit, starts)
            if found is not None:
                assert two.path_to(found) == one.path_to(found)


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == TINY), ids=str)
def test_sweeps_find_what_searches_find(path: Path) -> None:
    """On both kinds of sets."""
    graph = explored(compose(read_device(str(path))))
    assert_finds_the_same(graph, by_arrays(graph))
    assert_finds_the_same(graph, by_kernels(graph.product))


@pytest.mark.thorough
@given(devices())
@settings(max_examples=settings().max_examples // 5)
def test_sweeps_find_what_searches_find_of_random_devices(drawn: Drawn) -> None:
    """The same of random devices."""
    graph = explored(compose(drawn.read()))
    assume(graph.state_count < 2_000)
    assert_finds_the_same(graph, by_arrays(graph))
    assert_finds_the_same(graph, by_kernels(graph.product))


def test_flags_of_a_set() -> None:
    """The first zero is found in the word that has it, and none is beyond the last state."""
    full = np.uint64(0xFFFFFFFFFFFFFFFF)
    flags = BitFlags(np.array([full, full ^ np.uint64(1 << 3)], np.uint64), 100)
    assert flags.first_zero() == 67
    assert [flags[number] for number in (66, 67, 68)] == [1, 0, 1]
    assert BitFlags(np.array([full, np.uint64((1 << 36) - 1)], np.uint64), 100).first_zero() is None


def test_who_needs_transitions_gets_an_incomplete_space() -> None:
    """A space comes without its transitions only where that is asked for."""
    product = compose(read_device(str(ALWAYS)))
    found = explore_on_gpu(
        product, [HostDevice()], threads=1, limits=Limits(), reporter=Silent(), keep=False
    )
    assert found.stopped_by == "too little memory to keep the transitions"
    assert not found.is_swept
