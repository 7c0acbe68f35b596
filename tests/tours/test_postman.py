"""Flows and postman tours, held against networkx and against brute force."""

from __future__ import annotations

from collections import Counter, deque

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.tours.circuit import euler_circuit
from modecheck.tours.flow import Pipe, cheapest_flow
from modecheck.tours.postman import Arc, Tour, UnreachableArcs, postman_tour

NODES = 6
ENDS = st.tuples(st.integers(0, NODES - 1), st.integers(0, NODES - 1))
ARCS = st.lists(st.builds(lambda e, c: Arc(e[0], e[1], c), ENDS, st.integers(0, 5)), max_size=14)


def reachable_part(arcs: list[Arc]) -> list[Arc]:
    """The arcs that a walk from node 0 can take."""
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    graph.add_node(0)
    graph.add_edges_from((arc.tail, arc.head) for arc in arcs)
    reached = {0} | nx.descendants(graph, 0)
    return [arc for arc in arcs if arc.tail in reached]


def is_strongly_connected(arcs: list[Arc]) -> bool:
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    graph.add_node(0)
    graph.add_edges_from((arc.tail, arc.head) for arc in arcs)
    return bool(nx.is_strongly_connected(graph))


def check_walks(arcs: list[Arc], tour: Tour) -> list[int]:
    """Every walk begins at node 0 and goes on where it is, all arcs are taken; where walks end."""
    ends = []
    for walk in tour.walks:
        node = 0
        for number in walk:
            assert arcs[number].tail == node
            node = arcs[number].head
        ends.append(node)
    assert {number for walk in tour.walks for number in walk} == set(range(len(arcs)))
    assert tour.cost == sum(arcs[number].cost for walk in tour.walks for number in walk)
    return ends


@given(
    st.lists(st.tuples(ENDS, st.integers(0, 9), st.integers(0, 4)), max_size=14),
    st.lists(st.integers(-4, 4), min_size=NODES - 1, max_size=NODES - 1),
)
def test_a_flow_costs_what_networkx_says(
    pipes: list[tuple[tuple[int, int], int, int]], supplies: list[int]
) -> None:
    """The same total cost as its network simplex, or no flow where it has none."""
    supplies = [*supplies, -sum(supplies)]
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    for node, supply in enumerate(supplies):
        graph.add_node(node, demand=-supply)
    for (tail, head), cost, capacity in pipes:
        graph.add_edge(tail, head, weight=cost, capacity=capacity)
    flow = cheapest_flow(NODES, [Pipe(t, h, c, room) for (t, h), c, room in pipes], supplies)
    try:
        expected, _ = nx.network_simplex(graph)
    except nx.NetworkXUnfeasible:
        assert flow is None
        return
    assert flow is not None
    assert sum(amount * pipe[1] for amount, pipe in zip(flow, pipes, strict=True)) == expected
    left = list(supplies)
    for amount, ((tail, head), _, capacity) in zip(flow, pipes, strict=True):
        assert 0 <= amount <= capacity
        left[tail] -= amount
        left[head] += amount
    assert left == [0] * NODES


def test_supplies_that_do_not_sum_to_nothing_are_refused() -> None:
    """A flow neither makes nor swallows anything."""
    with pytest.raises(ValueError, match="differ"):
        cheapest_flow(2, [Pipe(0, 1, 1)], [1, 0])


@given(ARCS, st.permutations(range(1, NODES)), st.integers(1, NODES - 1))
def test_a_closed_tour_is_closed_and_costs_what_networkx_says(
    more: list[Arc], order: list[int], length: int
) -> None:
    """In a strongly connected graph: no reset, every arc, and the duplicates of a cheapest flow."""
    ring = [0, *order[:length]]
    arcs = [Arc(tail, head, 2) for tail, head in zip(ring, [*ring[1:], 0], strict=True)]
    arcs += [arc for arc in more if arc.tail in ring and arc.head in ring]
    assert is_strongly_connected(arcs)
    tour = postman_tour(NODES, arcs, 0, closed=True)
    assert tour.resets == 0
    assert check_walks(arcs, tour) == [0]
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    entering, leaving = Counter(a.head for a in arcs), Counter(a.tail for a in arcs)
    for node in range(NODES):
        graph.add_node(node, demand=leaving[node] - entering[node])
    for arc in arcs:
        graph.add_edge(arc.tail, arc.head, weight=arc.cost)
    duplicates, _ = nx.network_simplex(graph)
    assert tour.cost == sum(arc.cost for arc in arcs) + duplicates


def by_brute_force(arcs: list[Arc], *, closed: bool) -> tuple[int, int]:
    """The fewest resets, and the fewest steps with so many, by search over nodes and arcs taken."""
    everything = (1 << len(arcs)) - 1
    best: dict[tuple[int, int], tuple[int, int]] = {(0, 0): (0, 0)}
    pending = deque([(0, 0)])
    while pending:
        node, taken = pending.popleft()
        resets, steps = best[node, taken]
        onward = [
            ((a.head, taken | 1 << n), (resets, steps + 1))
            for n, a in enumerate(arcs)
            if a.tail == node
        ]
        for key, cost in [*onward, ((0, taken), (resets + 1, steps))]:
            if key not in best or cost < best[key]:
                best[key] = cost
                pending.append(key)
    return min(
        cost
        for (node, taken), cost in best.items()
        if taken == everything and not (closed and node)
    )


@given(st.lists(st.builds(lambda e: Arc(*e), ENDS), max_size=7), st.booleans())
def test_resets_and_steps_are_the_fewest(arcs: list[Arc], closed: bool) -> None:
    """Connected or not, open or closed: as many as a search over everything finds."""
    arcs = reachable_part(arcs)
    tour = postman_tour(NODES, arcs, 0, closed=closed)
    ends = check_walks(arcs, tour)
    assert (tour.resets, tour.cost) == by_brute_force(arcs, closed=closed)
    assert not closed or tour.returns or ends[-1] == 0


def test_arcs_that_no_path_leads_to_are_named() -> None:
    """They are not left out in silence."""
    with pytest.raises(UnreachableArcs) as raised:
        postman_tour(3, [Arc(0, 1), Arc(2, 1)], 0, closed=False)
    assert raised.value.arcs == (1,)


def test_no_circuit_goes_over_an_unbalanced_graph() -> None:
    """Where more arcs enter a node than leave it, the walk would be stuck there."""
    with pytest.raises(ValueError, match="no closed walk"):
        euler_circuit([(0, 1), (0, 1), (1, 0)], 0)
    assert euler_circuit([(0, 1), (1, 0), (0, 0)], 0) in ([0, 1, 2], [2, 0, 1])
