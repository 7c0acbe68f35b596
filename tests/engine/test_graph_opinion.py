"""networkx as a second opinion on searches over the explored graphs of random devices."""

from __future__ import annotations

from collections.abc import Iterable

import networkx
from hypothesis import assume, given, settings

from modecheck.engine.contract.space import INITIAL, ReachGoal
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, devices

MOST_STATES = 200
EXAMPLES = settings().max_examples
Graph = networkx.MultiDiGraph
BEFORE, BEHIND = -1, -2
"""Nodes before all starts and behind all goals."""


def explored(drawn: Drawn) -> PlainExploration:
    return explore(compose(drawn.read()), max_states=MOST_STATES)


def graph_of(space: PlainExploration, *, without_events: int = 0) -> Graph[int]:
    """The transitions as edges, less those in which one of the events happens."""
    graph: Graph[int] = networkx.MultiDiGraph()
    graph.add_nodes_from(range(space.state_count))
    for number in range(space.expanded):
        for edge in space.edges_from(number):
            if not edge.events & without_events:
                graph.add_edge(number, edge.target)
    return graph


def unknown(space: PlainExploration) -> set[int]:
    """States whose future nobody knows: a step of theirs fails, or they were not expanded."""
    failing = {number for number, fails in enumerate(space.graph.failing) if fails}
    return failing | set(range(space.expanded, space.state_count))


def ancestors_of(graph: Graph[int], goals: Iterable[int]) -> set[int]:
    """The nodes from which a goal can be reached, found from a node behind all goals."""
    extended = graph.copy()
    extended.add_edges_from((goal, BEHIND) for goal in goals)
    return set(networkx.ancestors(extended, BEHIND)) if BEHIND in extended else set()


@given(devices())
@settings(max_examples=EXAMPLES)
def test_states_are_numbered_by_their_distance(drawn: Drawn) -> None:
    """All states are reached; depths, layers and the lengths of ways are shortest distances."""
    space = explored(drawn)
    distances = networkx.single_source_shortest_path_length(graph_of(space), INITIAL)
    depths = [space.depth_of(number) for number in range(space.state_count)]
    # The transitions of a state whose expansion was broken off are not kept, its finds are.
    assert all(depths[number] == distance for number, distance in distances.items())
    assert len(distances) == len(depths) or not space.complete
    assert depths == sorted(depths)
    assert space.layers == [depths.count(depth) for depth in range(space.depth + 1)]
    assert [len(space.path_to(number)) for number in range(space.state_count)] == depths


@given(devices())
@settings(max_examples=EXAMPLES)
def test_ways_follow_transitions(drawn: Drawn) -> None:
    """The last step of every way is a step of the state before it, with that label."""
    space = explored(drawn)
    steps = {
        (number, step.label, step.after)
        for number in range(space.state_count)
        for step in space.found.interpreter.steps(space.state(number))
    }
    for number in range(1, space.state_count):
        trace = space.path_to(number)
        before = trace[-2][1] if len(trace) > 1 else INITIAL
        assert space.path_to(before) == trace[:-1]
        assert (before, trace[-1][0], space.state(number)) in steps
        assert trace[-1][1] == number


@given(devices())
@settings(max_examples=EXAMPLES)
def test_goals_are_reached_from_their_ancestors(drawn: Drawn) -> None:
    """From exactly the ancestors of goals and of the unknown a path leads there."""
    space = explored(drawn)
    for condition in space.product.conditions:
        bit = space.mark(condition)
        goals = {number for number in range(space.state_count) if space.marks_at(number) & bit}
        for events in range(1 << min(len(space.product.watched_events), 2)):
            graph = graph_of(space, without_events=events)
            reaching = space.can_reach(ReachGoal(bit, without_events=events))
            expected = ancestors_of(graph, goals | unknown(space))
            assert {number for number, leads in enumerate(reaching) if leads} == expected


@given(devices())
@settings(max_examples=EXAMPLES)
def test_stuck_chips_move_in_no_component_ahead(drawn: Drawn) -> None:
    """A chip is stuck where it moves within and between no strongly connected component ahead; in a
    step in place nobody moves.
    """
    space = explored(drawn)
    everybody = (1 << len(space.product.chips)) - 1
    graph = graph_of(space)
    whole = networkx.condensation(networkx.DiGraph(graph))
    moving = dict.fromkeys(whole.nodes, 0)
    for number in range(space.expanded):
        for edge in space.edges_from(number):
            if edge.target != number:
                moving[whole.graph["mapping"][number]] |= edge.moved
    for number in unknown(space):
        moving[whole.graph["mapping"][number]] = everybody
    for component in reversed(list(networkx.topological_sort(whole))):
        for ahead in whole.successors(component):
            moving[component] |= moving[ahead]
    expected = {
        number: everybody & ~moving[whole.graph["mapping"][number]] for number in graph.nodes
    }
    stuck = dict(space.stuck(everybody))
    assert stuck == {number: chips for number, chips in expected.items() if chips}


@given(devices())
@settings(max_examples=EXAMPLES)
def test_spreads_take_shortest_paths(drawn: Drawn) -> None:
    """A spread passes through unblocked states only, nearest first, and tells a shortest path."""
    space = explored(drawn)
    modes = [space.mark(f"mode:{name}") for name in space.product.device.modes]
    assume(modes)
    blocked = sum(modes)
    for starts in modes:
        bfs = space.bfs(starts, blocked=blocked)
        inner = graph_of(space)
        inner.add_edges_from(
            (BEFORE, n) for n in range(space.state_count) if space.marks_at(n) & starts
        )
        for source, target in list(inner.edges()):
            marks = space.marks_at(source) if source != BEFORE else 0
            if marks & blocked and not marks & starts:
                inner.remove_edges_from([(source, target)] * inner.number_of_edges(source, target))
        if BEFORE in inner:
            lengths = networkx.single_source_shortest_path_length(inner, BEFORE)
            reached = {n: length - 1 for n, length in lengths.items() if n != BEFORE}
        else:
            reached = {}
        found = {n: len(bfs.path_to(n)[1]) for n in (*bfs.inside, *bfs.entered)}
        assert found == reached
        order = [found[number] for number in bfs.inside]
        assert order == sorted(order)
