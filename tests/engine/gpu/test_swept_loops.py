"""Fair loops found by sweeps are those that the search of the graph finds, step for step: on arrays
of truth values, and on sets that kernels for a GPU keep, run by one thread of the processor.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.large import swept_loops
from modecheck.engine.large.swept_space import SweptSpace
from modecheck.engine.native.graph import CompiledExploration
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
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


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == ENDLESS), ids=str)
def test_sweeps_find_the_loops_that_searches_find(path: Path) -> None:
    """On both kinds of sets, whether the core is shrunk as far as it can be or not at all."""
    graph = explored(compose(read_device(str(path))))
    for few in (0, swept_loops.FEW):
        assert_finds_the_same(graph, by_arrays(graph), 1, few)
        assert_finds_the_same(graph, by_kernels(graph.product), 1, few)


@given(devices(), st.integers(0, 1 << 30))
@settings(max_examples=settings().max_examples // 2)
def test_sweeps_find_the_loops_of_random_devices(drawn: Drawn, seed: int) -> None:
    """The same with weak and strong sets that are drawn."""
    graph = explored(with_random_fairness(compose(drawn.read()), seed))
    assume(graph.state_count < 2_000)
    assert_finds_the_same(graph, by_arrays(graph), seed, 0)
    loops = [graph.fair_loop(query).loop for query in queries(graph.product, seed)]
    event(f"with a loop: {sum(loop is not None for loop in loops)} of {len(loops)}")
