"""Searches over explored random devices, in small and in large arrays, against plain ones."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from unittest import mock

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.engine.contract.space import Edge, ReachGoal
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.engine.search.state_graph import StateGraph
from modecheck.product.composition import compose
from tests.engine.oracles.plain_graph_searches import (
    BackwardReachability,
    PlainGraph,
    bfs,
    bfs_from_initial,
    longest_path,
)
from tests.generation.devices import Drawn, devices

MOST_STATES = 200
MOST_MARKS = 5


def in_large_arrays(space: PlainExploration) -> PlainExploration:
    """The same exploration, to be searched natively."""
    graph, of = space.graph, NativeArrays().of
    native = StateGraph(
        arrays=NativeArrays(),
        first=of("i8", graph.first),
        targets=of("u4", graph.targets),
        notes=of("u2", graph.notes),
        labels=of("u8", graph.labels),
        moved=of("u8", graph.moved),
        events=of("u8", graph.events),
        is_quiescent=of("u1", graph.is_quiescent),
        failing=of("u1", graph.failing),
        linked=graph.linked,
    )
    return replace(space, graph=native, marks=of("u8", space.marks))


def plain_graph(space: PlainExploration) -> PlainGraph:
    """Its transitions, as the plain searches want them."""
    graph = space.graph
    labels = [graph.labels[note] for note in graph.notes]
    return PlainGraph(graph.count, graph.first, graph.targets, labels)


@given(devices())
@settings(max_examples=settings().max_examples // 2)
def test_searches_find_what_plain_ones_find(drawn: Drawn) -> None:
    """Backward reachability, chips that are stuck, spreads, longest paths."""
    small = explore(compose(drawn.read()), max_states=MOST_STATES)
    graph, count = plain_graph(small), small.state_count
    failing = [number for number in range(count) if small.graph.failing[number]]
    unknown = [*failing, *range(small.expanded, count)]
    backward = BackwardReachability(graph, unknown)
    bits = [1 << number for number in range(len(small.product.conditions))][:MOST_MARKS]
    everybody = (1 << len(small.product.chips)) - 1
    moved = [small.graph.moved[note] for note in small.graph.notes]
    can_move = backward.can_still_move(moved.__getitem__, everybody)
    stuck = [(n, everybody & ~mask) for n, mask in enumerate(can_move) if everybody & ~mask]
    for space in (small, in_large_arrays(small)):
        assert list(space.stuck(everybody)) == stuck
        for bit in bits:
            starts = [number for number in range(count) if small.marks[number] & bit]
            expected = backward.leading_to([*starts, *unknown])
            assert space.can_reach(ReachGoal(bit)) == expected
            assert space.can_reach_states(starts) == expected
            for blocked in (0, *bits):
                assert_same_spreads(space, graph, starts, bit, blocked)
                assert space.longest(bit, blocked=blocked) == longest(small, starts, blocked)


@given(devices(), st.integers(1, 40), st.integers(1, 3))
@settings(max_examples=max(settings().max_examples // 4, 10))
def test_threads_and_goals_that_are_searched_for_at_once_change_nothing(
    drawn: Drawn, part: int, threads: int
) -> None:
    """Parts of some states, on several threads; all goals foreseen, or each by itself."""
    small = explore(compose(drawn.read()), max_states=MOST_STATES)
    bits = [1 << number for number in range(len(small.product.conditions))][:MOST_MARKS]
    happened = sorted({0, *small.graph.events})
    goals = [
        ReachGoal(bit, lacking=other, without_events=events, past_failures=past)
        for bit, other in zip(bits, (0, *bits), strict=False)
        for events in happened[:2]
        for past in (True, False)
    ]
    everybody = (1 << len(small.product.chips)) - 1
    for space in (small, in_large_arrays(small)):
        alone = [bytes(space.can_reach(goal)) for goal in goals]
        assert alone == [leading_to(small, goal) for goal in goals]
        lengths = [space.longest(bit, blocked=0) for bit in bits]
        stuck = list(space.stuck(everybody))
        with mock.patch("modecheck.engine.search.sweeps.PART", part):
            again = replace(
                space, graph=replace(space.graph, threads=threads), _foreseen=None,
                _behind={}, _lengths={},
            )  # fmt: skip
            again.foresee(goals)
            assert [again.can_reach(goal) for goal in goals] == alone
            assert list(again.stuck(everybody)) == stuck
            assert [again.longest(bit, blocked=0) for bit in bits] == lengths
            assert_same_transitions(again, small, bits)


def leading_to(space: PlainExploration, goal: ReachGoal) -> bytes:
    """A goal by itself, searched for by the plain search."""
    graph, marks = space.graph, space.marks
    unknown = [
        number
        for number in range(graph.count)
        if number >= graph.linked or (graph.failing[number] and goal.past_failures)
    ]
    reached = [n for n, own in enumerate(marks) if own & goal.marks or goal.lacking & ~own]
    return bytes(
        BackwardReachability(plain_graph(space), unknown).leading_to(
            [*reached, *unknown],
            lambda edge: not graph.events[graph.notes[edge]] & goal.without_events,
        )
    )


def assert_same_transitions(
    space: PlainExploration, plain: PlainExploration, bits: list[int]
) -> None:
    """The first transition that loses a mark, that leads from one to another, or that comes
    between, as one after the other shows it.
    """
    graph, marks = plain.graph, plain.marks
    edges = [(number, edge) for number in range(graph.linked) for edge in graph.edges(number)]
    for bit, other in product((0, *bits), bits):
        lost = [
            (number, edge)
            for number, edge in edges
            if other & marks[number] & ~marks[graph.targets[edge]]
            and not graph.events[graph.notes[edge]] & bit
        ]
        assert first_of(space.first_loss(other, without_events=bit)) == told(plain, lost)
        changed = [
            (number, edge)
            for number, edge in edges
            if marks[number] & bit and marks[graph.targets[edge]] & other
        ]
        assert first_of(space.first_change(bit, other)) == told(plain, changed)
        starts = [number for number, own in enumerate(marks) if own & other]
        inside = set(bfs(plain_graph(plain), marks, starts, bit).inside)
        between = [
            (number, edge)
            for number, edge in edges
            if number in inside
            and graph.events[graph.notes[edge]] & 3
            and not (marks[number] & other and marks[graph.targets[edge]] & other)
        ]
        found = space.first_between(other, blocked=bit, events=3)
        assert first_of(found) == told(plain, between)


def first_of(found: tuple[int, Edge] | None) -> tuple[int, int, int] | None:
    return None if found is None else (found[0], found[1].label, found[1].target)


def told(space: PlainExploration, found: list[tuple[int, int]]) -> tuple[int, int, int] | None:
    """State, label and target of the first of some transitions."""
    if not found:
        return None
    number, edge = found[0]
    return number, space.graph.labels[space.graph.notes[edge]], space.graph.targets[edge]


def assert_same_spreads(
    space: PlainExploration, graph: PlainGraph, starts: list[int], bit: int, blocked: int
) -> None:
    """The same states, as far away, and paths of the same length."""
    marks = np.asarray(space.marks).tolist()
    found, expected = space.bfs(bit, blocked=blocked), bfs(graph, marks, starts, blocked)
    assert list(found.inside) == expected.inside
    assert [found.path_to(n) for n in found.inside] == [expected.path_to(n) for n in found.inside]
    for wanted in (bit, blocked):
        assert found.first(wanted, 0) == expected.first(wanted, 0)
    behind = space.spread_from_initial(bit, blocked=blocked)
    other = bfs_from_initial(graph, marks, starts, blocked, space.depth_of)
    assert sorted(behind.inside) == sorted(other.inside)
    lengths = [
        [space.depth_of(start) + len(path) for start, path in map(one.path_to, behind.inside)]
        for one in (behind, other)
    ]
    assert lengths[0] == lengths[1] == sorted(lengths[0])


def longest(space: PlainExploration, starts: list[int], blocked: int) -> int | None:
    """The most steps of the system behind the starts, before a blocked state."""
    by_system, graph = system_actions(space.product), plain_graph(space)
    reached = bfs(graph, space.marks, starts, blocked).inside
    inside = {number for number in reached if not space.marks[number] & blocked}
    if any(n >= space.expanded or space.graph.failing[n] for n in inside):
        return None
    following = {
        n: [
            graph.targets[edge]
            for edge in graph.edges(n)
            if by_system[graph.labels[edge]] and graph.targets[edge] != n
        ]
        for n in inside
    }
    return longest_path(following)
