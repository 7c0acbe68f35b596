"""Fair loops found by sweeps are those that the search of the graph finds, step for step: on arrays
of truth values, and on sets that kernels for a GPU keep, run by one thread of the processor.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from modecheck.engine.contract.observer_answer import waiting_loops
from modecheck.engine.contract.space import HALTED, LoopQuery, NotSearched
from modecheck.engine.gpu.host_device import HostDevice
from modecheck.engine.large import swept_loops
from modecheck.engine.large.loop_core import LoopCore
from modecheck.engine.large.swept_space import SweptSpace
from modecheck.engine.native.graph import CompiledExploration
from modecheck.engine.search.loops_explored import _halted
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.product.state_conditions import is_watched
from tests.engine.gpu.swept import by_arrays, by_kernels, explored
from tests.engine.test_fair_loops import some_query, with_random_fairness
from tests.generation.devices import Drawn, devices
from tests.models.bundled import is_small
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

ENDLESS = Path("models/faulty/keeps_calling_with_an_old_key.yaml")
BUNDLED = [
    *filter(is_small, sorted(Path("models/small").glob("*.yaml"))),
    *filter(is_small, sorted(Path("models/faulty").glob("*.yaml"))),
]
TIMED = Path("models/small/retry.yaml")
"""It has a clock, and links that deliver at the latest at some moment."""
FAIR = [Path("models/small/reconnect.yaml"), Path("models/faulty/pedal_vanishes.yaml")]
"""They have requirements that hold because of fairness, outside of loops and in some."""
QUERIES = 12


def queries(product: Product, seed: int) -> list[LoopQuery]:
    """Queries of all kinds: behind a state with a mark, and where time stands still, too."""
    found = [some_query(product, seed + number) for number in range(QUERIES)]
    bits = [1 << number for number in range(len(product.conditions))]
    found += [replace(found[n], after=bits[(seed + n) % len(bits)]) for n in range(3)]
    if product.time is not None:
        found += [replace(query, timeless=True) for query in found[:3]]
        found.append(LoopQuery(timeless=True))
    return [LoopQuery(), *found]


def assert_finds_the_same(
    graph: CompiledExploration, swept: SweptSpace, seed: int, few: int
) -> None:
    """Of all queries; what an answer rests on is told exactly where the core is not shrunk."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(swept_loops, "FEW", few)
        for query in queries(graph.product, seed):
            expected, found = graph.fair_loop(query), swept.fair_loop(query)
            assert found.loop == expected.loop
            if few:
                assert found.rests_on == expected.rests_on
    if graph.product.time is not None:
        core = LoopCore(swept, LoopQuery(timeless=True))
        halted = [number for number, marks in enumerate(_halted(graph)) if int(marks) & HALTED]
        assert swept.sets.numbers(core.halted).tolist() == halted


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == TIMED), ids=str)
def test_sweeps_find_the_loops_that_searches_find(path: Path) -> None:
    """On both kinds of sets, whether the core is shrunk as far as it can be or not at all."""
    graph = explored(compose(read_device(str(path))))
    for few in (0, swept_loops.FEW):
        assert_finds_the_same(graph, by_arrays(graph), 1, few)
        assert_finds_the_same(graph, by_kernels(graph.product), 1, few)


@given(st.one_of(devices(), devices(timed=True)), st.integers(0, 1 << 30))
@settings(max_examples=settings().max_examples // 2)
def test_sweeps_find_the_loops_of_random_devices(drawn: Drawn, seed: int) -> None:
    """The same with weak and strong sets that are drawn, with a clock and without."""
    graph = explored(with_random_fairness(compose(drawn.read()), seed))
    assume(graph.state_count < 2_000)
    assert_finds_the_same(graph, by_arrays(graph), seed, 0)
    loops = [graph.fair_loop(query).loop for query in queries(graph.product, seed)]
    event(f"with a loop: {sum(loop is not None for loop in loops)} of {len(loops)}")


def watched(device: Device) -> Product:
    """The product with an observer for each requirement that needs one."""
    needs = device.requirements.values()
    return compose(device, observers=[need.name for need in needs if is_watched(need)])


def resting(graph: CompiledExploration) -> int:
    """Where observers can stay alive in no loop, that rests on the fairness sets that are told,
    without all others. On how many.
    """
    product, swept, most = graph.product, by_arrays(graph), 0
    for need in product.observers:
        marks = {what: f"{what}:{need.name}" for what in ("alive", "again")}
        alive, again = (
            graph.mark(one) if one in product.conditions else 0 for one in marks.values()
        )
        for query in waiting_loops(alive, again, graph.mark("idles")) if alive else ():
            found = swept.fair_loop(query)
            assert found.loop == graph.fair_loop(query).loop
            fair = tuple(one for n, one in enumerate(product.fair) if n in found.rests_on)
            alone = replace(graph, product=replace(product, fair=fair))
            if found.loop is None:
                assert alone.fair_loop(query).loop is None
                most = max(most, len(fair))
    return most


@pytest.mark.parametrize("path", sweep(BUNDLED, FAIR.__contains__), ids=str)
def test_an_answer_rests_on_enough(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a core that is shrunk as far as can be."""
    monkeypatch.setattr(swept_loops, "FEW", 0)
    product = watched(read_device(str(path)))
    most = resting(explored(product)) if product.observers else 0
    assert most > 0 or path not in FAIR


@pytest.mark.thorough
@given(devices(runs=True), st.integers(0, 1 << 30))
@settings(max_examples=settings().max_examples // 2)
def test_an_answer_rests_on_enough_of_random_devices(drawn: Drawn, seed: int) -> None:
    """The same of random devices with requirements about runs."""
    product = with_random_fairness(watched(drawn.read()), seed)
    assume(product.observers)
    graph = explored(product)
    assume(graph.state_count < 2_000)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(swept_loops, "FEW", 0)
        event(f"rests on {resting(graph)} of {len(product.fair)}")


def test_sets_are_given_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device's memory is as free after each answer as it was before, also where there is none."""
    device = HostDevice(memory=1 << 30)
    product = with_random_fairness(watched(read_device(str(ENDLESS))), 1)
    assert {one.strong for one in product.fair} == {False, True}
    space = by_kernels(product, device)
    monkeypatch.setattr(swept_loops, "FEW", 0)
    space.fair_loop(LoopQuery())
    for most in (swept_loops.MOST_TRANSITIONS, 0):
        monkeypatch.setattr(swept_loops, "MOST_TRANSITIONS", most)
        for query in queries(product, 1):
            free = device.free_bytes()
            with suppress(NotSearched):
                space.fair_loop(query)
            assert device.free_bytes() == free
    bits = (1 << len(product.conditions)) - 1
    free = device.free_bytes()
    space.longest(1, blocked=bits)
    space.first_between(1, blocked=bits, events=1)
    region = space.bfs(1, blocked=bits)
    region.path_to(region.first(0, 0) or 0)
    assert device.free_bytes() == free


def test_no_room_for_sets_is_no_answer() -> None:
    """Nobody knows then whether there is a loop."""
    device = HostDevice(memory=1 << 30)
    space = by_kernels(compose(read_device(str(ENDLESS))), device)
    taken = [device.array(device.free_bytes() // 8, np.uint64)]
    with pytest.raises(NotSearched):
        space.fair_loop(LoopQuery())
    device.free(*taken)
    space.fair_loop(LoopQuery())
