"""Fair loops in small random graphs, against all sets of states that a loop could go through.

A loop that goes through exactly the states of a set can take all its inner transitions over and
over, which can only help. So a fair loop exists if and only if some set of states is strongly
connected from inside and fair as a whole: trying all sets needs no theory of components.
"""

from __future__ import annotations

import random
from itertools import chain, combinations

import networkx as nx
from hypothesis import event, given
from hypothesis import strategies as st

from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.search.fair_components import set_numbers
from modecheck.product.ir import FairSet
from tests.engine.oracles.plain_fair_components import (
    FairGraph,
    components,
    loop_in,
    nearest_component,
)

MOST_STATES = 6
LABELS = 6
Edges = dict[int, list[tuple[int, int, bool, bool]]]


def random_edges(dice: random.Random, count: int) -> Edges:
    """Label, target, whether a loop may use it, and whether the chip moves that has to."""
    edges: Edges = {number: [] for number in range(count)}
    for number in edges:
        for _ in range(dice.choice((0, 1, 1, 2, 2, 3))):
            usable, moves = dice.random() < 0.85, dice.random() < 0.6
            edge = (dice.randrange(LABELS), dice.randrange(count), usable, moves)
            edges[number].append(edge)
    return edges


def random_sets(dice: random.Random) -> list[FairSet]:
    """Disjoint sets of labels; some labels are in none."""
    owners = [dice.randrange(4) for _ in range(LABELS)]
    sets = [frozenset(n for n, own in enumerate(owners) if own == number) for number in range(3)]
    return [FairSet("", dice.random() < 0.5, own) for own in sets if own]


def is_fair(
    states: tuple[int, ...], edges: Edges, sets: list[FairSet], goals: set[int], *, moving: bool
) -> bool:
    """Whether a loop through exactly these states is fair, visits a goal, and moves the chip."""
    inner = [
        (number, edge)
        for number in states
        for edge in edges[number]
        if edge[2] and edge[1] in states
    ]
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(states)
    graph.add_edges_from((number, edge[1]) for number, edge in inner)
    if not inner or not nx.is_strongly_connected(graph):
        return False
    if moving and not any(edge[3] for _, edge in inner):
        return False
    taken = {edge[0] for _, edge in inner}
    possible = [{edge[0] for edge in edges[number] if edge[1] != number} for number in states]
    for one in sets:
        enabled = [bool(labels & one.labels) for labels in possible]
        if not taken & one.labels and (any(enabled) if one.strong else all(enabled)):
            return False
    return not goals or bool(goals & set(states))


@given(st.integers(0, 1 << 30))
def test_a_fair_loop_is_found_exactly_where_a_set_of_states_allows_one(seed: int) -> None:
    """Whether there is one, and that the one told is fair by itself, through its own states."""
    for offset in range(20):
        dice = random.Random(seed + offset)  # noqa: S311 - not for secrets
        count = dice.randint(1, MOST_STATES)
        edges, sets = random_edges(dice, count), random_sets(dice)
        region = {number for number in range(count) if dice.random() < 0.9}
        goals = {number for number in range(count) if dice.random() < 0.4}
        moving = dice.random() < 0.3
        query = LoopQuery(visits=(1,) if goals else (), restless=0 if moving else -1)
        graph = FairGraph(
            edges=edges.__getitem__,
            marks=[int(number in goals) for number in range(count)],
            fair=sets,
            set_of_label=set_numbers(sets, LABELS),
        )
        found, _ = nearest_component(graph, region, query)
        choices = chain.from_iterable(
            combinations(sorted(region), size) for size in range(1, count + 1)
        )
        expected = any(is_fair(one, edges, sets, goals, moving=moving) for one in choices)
        assert (found is not None) == expected
        event(f"loop: {expected}")
        if found is not None:
            assert_fair(loop_in(graph, found, query, [0] * count), edges, sets, goals)


def assert_fair(
    loop: list[tuple[int, int]], edges: Edges, sets: list[FairSet], goals: set[int]
) -> None:
    """The loop follows usable transitions, comes back, and is fair by its own steps alone."""
    befores = [loop[-1][1], *(number for _, number in loop)]
    for before, (label, after) in zip(befores, loop, strict=False):
        assert any(edge[:3] == (label, after, True) for edge in edges[before])
    taken = {label for label, _ in loop}
    possible = [{edge[0] for edge in edges[n] if edge[1] != n} for _, n in loop]
    for one in sets:
        enabled = [bool(labels & one.labels) for labels in possible]
        assert taken & one.labels or not (any(enabled) if one.strong else all(enabled))
    assert not goals or goals & {number for _, number in loop}


@given(st.integers(0, 1 << 30))
def test_components_are_those_of_networkx(seed: int) -> None:
    """Tarjan's algorithm, with and without a part of the states."""
    dice = random.Random(seed)  # noqa: S311 - not for secrets
    count = dice.randint(1, 30)
    edges = random_edges(dice, count)
    region = {number for number in range(count) if dice.random() < 0.9}
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(region)
    graph.add_edges_from(
        (number, edge[1])
        for number in region
        for edge in edges[number]
        if edge[2] and edge[1] in region
    )
    own = FairGraph(edges.__getitem__, [0] * count, [], [-1] * LABELS)
    found = {frozenset(one) for one in components(own, region)}
    assert found == {frozenset(one) for one in nx.strongly_connected_components(graph)}
