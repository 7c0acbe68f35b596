"""The compiled search for fair loops on random graphs, against the plain one."""

from __future__ import annotations

import random
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from modecheck.engine import fair_components
from modecheck.engine.compiled.compiled_fair_loops import FairSearch, loop_in
from modecheck.engine.fair_components import FairGraph, nearest_component, set_numbers
from modecheck.engine.space import LoopQuery
from modecheck.product.ir import FairSet
from tests.engine.test_fair_graphs import LABELS, Edges, assert_fair, random_edges, random_sets

MOST_STATES = 40


def compiled_search(
    edges: Edges, sets: list[FairSet], inside: list[int], marks: list[int], query: LoopQuery
) -> FairSearch:
    """A search over these transitions; a note stands for label, usable or not, moving or not."""
    rows = [edge for number in range(len(edges)) for edge in edges[number]]
    notes = [label * 4 + usable * 2 + moves for label, _, usable, moves in rows]
    kinds = np.arange(LABELS * 4)
    numbers = set_numbers(sets, LABELS)
    first = np.cumsum([0, *(len(edges[number]) for number in range(len(edges)))])
    graph = SimpleNamespace(
        states=SimpleNamespace(count=len(edges), depth_of=lambda _: 0),
        first=first.astype(np.int64),
        most_edges=max(len(edges[number]) for number in range(len(edges))),
        targets=np.array([target for _, target, _, _ in rows], np.uint32),
        notes=np.array(notes, np.uint16),
        labels=(kinds // 4).astype(np.uint64),
        moved=(kinds % 2).astype(np.uint64),
    )
    moves = kinds % 2 if query.moving else np.ones_like(kinds)
    return FairSearch(
        product=cast("Any", SimpleNamespace(fair=tuple(sets))),
        graph=cast("Any", graph),
        marks=np.array(marks, np.uint64),
        query=query,
        inside=np.array(inside, np.uint8),
        allowed=(kinds // 2 % 2).astype(np.uint8),
        sets=np.array(numbers, np.int32)[kinds // 4],
        needed=moves.astype(np.uint8),
        set_of_label=numbers,
    )


@given(st.integers(0, 1 << 30))
def test_compiled_search_finds_the_same_component(seed: int) -> None:
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
        component, rests_on = compiled_search(edges, sets, inside, marks, query).component()
        assert (component is None) == (expected is None)
        if component is None or expected is None:
            assert rests_on == expected_rests_on
            continue
        loop = loop_in(component, query)
        assert_fair(loop, edges, sets, goals)
        assert loop == fair_components.loop_in(plain, expected, query, [0] * count)
