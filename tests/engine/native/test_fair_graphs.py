"""The search for fair loops on random graphs, small and large, against the plain one."""

from __future__ import annotations

import random
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.search.arrays import Arrays, SmallArrays
from modecheck.engine.search.fair_components import FairSearch, set_numbers
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.ir import FairSet
from tests.engine.oracles.plain_fair_components import FairGraph, loop_in, nearest_component
from tests.engine.test_fair_graphs import LABELS, Edges, assert_fair, random_edges, random_sets

MOST_STATES = 40


def search_over(
    arrays: Arrays,
    edges: Edges,
    sets: list[FairSet],
    inside: list[int],
    marks: list[int],
    query: LoopQuery,
) -> FairSearch:
    """A search over these transitions; a note stands for label, usable or not, moving or not."""
    rows = [edge for number in range(len(edges)) for edge in edges[number]]
    notes = [label * 4 + usable * 2 + moves for label, _, usable, moves in rows]
    kinds, of = range(LABELS * 4), arrays.of
    numbers = set_numbers(sets, LABELS)
    graph = StateGraph(
        arrays=arrays,
        first=of("i8", accumulate((len(edges[n]) for n in range(len(edges))), initial=0)),
        targets=of("u4", [target for _, target, _, _ in rows]),
        notes=of("u2", notes),
        labels=of("u8", [kind // 4 for kind in kinds]),
        moved=of("u8", [kind % 2 for kind in kinds]),
        events=of("u8", [0 for _ in kinds]),
        is_quiescent=arrays.filled("u1", len(edges)),
        failing=arrays.filled("u1", len(edges)),
        linked=len(edges),
    )
    return FairSearch(
        fair=sets,
        graph=graph,
        marks=of("u8", marks),
        query=query,
        inside=of("u1", inside),
        barred=of("u1", [1 - kind // 2 % 2 for kind in kinds]),
        needed=of("u1", [kind % 2 or not query.moving for kind in kinds]),
        sets=of("i4", [numbers[kind // 4] for kind in kinds]),
        set_of_label=numbers,
    )


@pytest.mark.parametrize("arrays", [SmallArrays(), NativeArrays()])
@given(seed=st.integers(0, 1 << 30))
def test_the_search_finds_the_same_component(arrays: Arrays, seed: int) -> None:
    """The same answer, the nearest component over all rounds, and a loop that is fair."""
    for offset in range(20):
        dice = random.Random(seed + offset)  # noqa: S311 - not for secrets
        count = dice.randint(1, MOST_STATES)
        edges, sets = random_edges(dice, count), random_sets(dice)
        inside = [int(dice.random() < 0.9) for _ in range(count)]
        goals = {number for number in range(count) if dice.random() < 0.4}
        marks = [int(number in goals) for number in range(count)]
        query = LoopQuery(visits=(1,) if goals else (), restless=0 if dice.random() < 0.3 else -1)
        region = {number for number, flag in enumerate(inside) if flag}
        ordered = [sorted(edges[number]) for number in range(count)]
        plain = FairGraph(ordered.__getitem__, marks, sets, set_numbers(sets, LABELS))
        expected, expected_rests_on = nearest_component(plain, region, query)
        found = search_over(arrays, edges, sets, inside, marks, query)
        component, rests_on = found.component()
        assert (component is None) == (expected is None)
        if component is None or expected is None:
            assert rests_on == expected_rests_on
            continue
        loop = component.loop(lambda _: 0)
        assert_fair(loop, edges, sets, goals)
        assert loop == loop_in(plain, expected, query, [0] * count)
