"""Covers of classes take every class; bounds and claims of optimality hold against brute force."""

from __future__ import annotations

from collections import deque
from itertools import permutations, product
from unittest.mock import patch

from hypothesis import given
from hypothesis import strategies as st

from modecheck.tours import beam
from modecheck.tours import cover as covering
from modecheck.tours.beam import beam_search
from modecheck.tours.class_graph import FAR, NEW_START, ClassGraph
from modecheck.tours.cover import Cover, cover
from modecheck.tours.cover_bounds import Gaps, lower_bound

NODES, CLASSES = 5, 4
ENDS = st.integers(0, NODES - 1)
ARCS = st.lists(st.tuples(ENDS, ENDS, st.integers(0, 15)), min_size=1, max_size=12)
APART = st.lists(
    st.tuples(ENDS, ENDS, st.sampled_from([0, 0, 1, 2, 4, 8])), min_size=1, max_size=14
)

ORDERS = st.lists(st.integers(0, 1), min_size=1, max_size=3)
MANY = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 7), st.integers(0, 255)), min_size=12, max_size=24
)


def graph_of(arcs: list[tuple[int, int, int]]) -> ClassGraph:
    tails, heads, takes = zip(*arcs, strict=True)
    return ClassGraph(NODES, tails, heads, takes, 0)


def fewest(arcs: list[tuple[int, int, int]]) -> tuple[int, int]:
    """The classes that can be taken (bits) and the fewest steps and new starts to take them all, by
    a search over nodes and classes.
    """
    far = {(0, 0): 0}
    pending = deque(far)
    while pending:
        node, taken = pending.popleft()
        onward = [(head, taken | bits) for tail, head, bits in arcs if tail == node]
        for pair in [*onward, (0, taken)]:
            if pair not in far:
                far[pair] = far[node, taken] + 1
                pending.append(pair)
    everything = max((taken for _, taken in far), key=int.bit_count)
    return everything, min(n for (_, taken), n in far.items() if taken == everything)


def check_cover(arcs: list[tuple[int, int, int]], found: Cover) -> None:
    """The walks are walks, take what can be taken, cost what they say, and no bound is too high."""
    everything, least = fewest(arcs)
    taken = 0
    for walk in found.walks:
        node = 0
        for arc in walk:
            assert arcs[arc][0] == node
            node = arcs[arc][1]
            taken |= arcs[arc][2]
    assert taken & everything == everything
    assert sum(1 << c for c in found.never) == 15 & ~everything
    assert found.cost == sum(map(len, found.walks)) + len(found.walks) - 1
    assert found.bound <= least <= found.cost
    assert not found.optimal or found.cost == least


@given(ARCS)
def test_a_small_cover_is_the_shortest(arcs: list[tuple[int, int, int]]) -> None:
    """As short as brute force finds, and it says so."""
    found = cover(graph_of(arcs), range(CLASSES))
    check_cover(arcs, found)
    assert found.optimal
    assert found.bound == found.cost


@given(st.one_of(ARCS, APART))
def test_the_heuristic_claims_nothing_wrong(arcs: list[tuple[int, int, int]]) -> None:
    """It takes every class, its bound is one, and where it says that nothing is shorter,
    nothing is.
    """
    with patch.object(covering, "EXACT_PAIRS", 0):
        check_cover(arcs, cover(graph_of(arcs), range(CLASSES)))


@given(APART)
def test_orders_without_the_last_resort_claim_nothing_wrong(
    arcs: list[tuple[int, int, int]],
) -> None:
    """The same where not even all orders of few classes are gone through."""
    with patch.object(covering, "EXACT_PAIRS", 0), patch.object(covering, "MOST_IN_ALL_ORDERS", 0):
        check_cover(arcs, cover(graph_of(arcs), range(CLASSES)))


@given(MANY)
def test_orders_lose_no_class(arcs: list[tuple[int, int, int]]) -> None:
    """Eight classes, several on an arc: what is taken by the way is left out of the order only
    where it is then still taken.
    """
    tails, heads, takes = zip(*arcs, strict=True)
    with patch.object(covering, "EXACT_PAIRS", 0), patch.object(beam, "MOST_ARCS", -1):
        found = cover(ClassGraph(8, tails, heads, takes, 0), range(8))
    taken = [arcs[arc][2] for walk in found.walks for arc in walk]
    never = {c for c in range(8) if not any(bits >> c & 1 for bits in taken)}
    assert never == set(found.never)
    assert found.bound <= found.cost


@given(ARCS)
def test_the_beam_finds_only_real_covers(arcs: list[tuple[int, int, int]]) -> None:
    """Wide enough it is exact; it never returns a walk as long as what is known already."""
    everything, least = fewest(arcs)
    classes = [c for c in range(CLASSES) if everything >> c & 1]
    graph = graph_of(arcs)
    if not classes:
        return
    assert beam_search(graph, classes, least) is None
    walk = beam_search(graph, classes, least + 1)
    assert walk is not None
    assert len(walk) == least


@given(st.lists(st.tuples(ENDS, ENDS, st.integers(0, 3)), min_size=5, max_size=9), ORDERS)
def test_a_walk_through_an_order_is_the_shortest(
    arcs: list[tuple[int, int, int]], order: list[int]
) -> None:
    """Each class is taken in its turn, and a search over node and place in the order
    finds no less.
    """
    far = {(0, 0): 0}
    pending = deque(far)
    while pending:
        node, place = pending.popleft()
        onward = [(0, place)]
        for tail, head, bits in arcs:
            if tail == node:
                onward.append((head, place))
                if place < len(order) and bits >> order[place] & 1:
                    onward.append((head, place + 1))
        for pair in onward:
            if pair not in far:
                far[pair] = far[node, place] + 1
                pending.append(pair)
    least = min((n for (_, place), n in far.items() if place == len(order)), default=None)
    walk = graph_of(arcs).through(order)
    assert (walk is None) == (least is None)
    if walk is None:
        return
    assert len(walk) == least
    node, place = 0, 0
    for arc in walk:
        if arc == NEW_START:
            node = 0
            continue
        assert arcs[arc][0] == node
        node = arcs[arc][1]
        place += place < len(order) and arcs[arc][2] >> order[place] & 1
    assert place == len(order)


@given(
    st.lists(st.integers(1, 9), min_size=4, max_size=4),
    st.lists(st.lists(st.integers(1, 9), min_size=4, max_size=4), min_size=4, max_size=4),
)
def test_no_order_is_shorter_than_the_bound(first: list[int], between: list[list[int]]) -> None:
    """All orders of four classes, with gaps that no detour makes smaller."""
    for via, b, c in product(range(4), repeat=3):
        between[b][c] = min(between[b][c], between[b][via] + between[via][c])
    for via, c in product(range(4), repeat=2):
        first[c] = min(first[c], first[via] + between[via][c])
    rows = [tuple(min(gap, first[c] + 1) for c, gap in enumerate(row)) for row in between]
    gaps = Gaps(tuple(first), tuple(rows))
    assert lower_bound(gaps) <= min(gaps.length(order) for order in permutations(range(4)))


def test_bounds_are_reached_where_nothing_hinders() -> None:
    """Classes in a ring, each a step from the one before: as many steps as classes."""
    ring = [(0, 1, 1), (1, 2, 2), (2, 3, 4), (3, 4, 8)]
    with patch.object(covering, "EXACT_PAIRS", 0), patch.object(covering, "MOST_IN_ALL_ORDERS", 0):
        found = cover(graph_of(ring), range(CLASSES))
    assert (found.cost, found.bound, found.optimal) == (4, 4, True)


def test_distances_know_what_is_out_of_reach() -> None:
    """`FAR` where no road leads."""
    graph = graph_of([(0, 1, 0), (1, 2, 0), (4, 0, 0)])
    assert graph.from_start().tolist() == [0, 1, 2, FAR, FAR]
