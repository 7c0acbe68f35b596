"""Fair loops in both engines, against a slow reading of what fairness means."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from functools import reduce
from operator import or_

import networkx as nx
import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import LoopQuery, Path, Space
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from modecheck.product.ir import FairSet, Field, Label, Product
from tests.generation.devices import Drawn, device_from, devices

MOST_STATES = 300


pytestmark = pytest.mark.usefixtures("own_cache")


def with_random_fairness(product: Product, seed: int) -> Product:
    """Some of the sets strong, some weak, some left out: random devices seldom need more."""
    dice = random.Random(seed)  # noqa: S311 - not for secrets
    fair = [
        FairSet(one.name, dice.random() < 0.4, one.labels)
        for one in product.fair
        if dice.random() < 0.8
    ]
    return replace(product, fair=tuple(fair))


def some_query(product: Product, seed: int) -> LoopQuery:
    """A query about the conditions that a random device has."""
    dice = random.Random(seed)  # noqa: S311 - not for secrets
    bits = [1 << number for number in range(len(product.conditions))]
    wanted = dice.choice(bits) if dice.random() < 0.2 else 0
    unwanted = dice.choice(bits) if dice.random() < 0.6 else 0
    return LoopQuery(
        wanted=wanted,
        unwanted=unwanted if unwanted != wanted else 0,
        visits=tuple(dice.sample(bits, 1)) if dice.random() < 0.2 else (),
        system_only=dice.random() < 0.4,
        only_changes=dice.random() < 0.4,
        without_gains=dice.choice(bits) if dice.random() < 0.2 else 0,
        held_still=1 << dice.randrange(len(product.chips)) if dice.random() < 0.2 else 0,
        only=frozenset(label for label in range(len(product.labels)) if dice.random() < 0.8)
        if dice.random() < 0.2
        else None,
        restless=dice.randrange(len(product.chips)) if dice.random() < 0.3 else -1,
        past_failures=dice.random() < 0.5,
    )


def graph_of(space: PlainExploration, query: LoopQuery) -> nx.MultiDiGraph[int]:
    """The states and transitions that a loop may use; `possible` are labels of all steps that lead
    away or fail.
    """
    interpreter = Interpreter(space.product)
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    by_system = {"rule": "not actor", "deliver": "", "discard": ""}
    for number in range(space.expanded):
        marks = space.marks_at(number)
        if marks & (query.wanted | query.unwanted) != query.wanted:
            continue
        if space.graph.failing[number] and not query.past_failures:
            continue
        if query.restless >= 0 and rests(space.product, query.restless, space.state(number)):
            continue
        labels = {edge.label for edge in space.edges_from(number) if edge.target != number}
        steps = interpreter.steps(space.state(number)) if space.graph.failing[number] else []
        labels |= {step.label for step in steps if step.after is None}
        graph.add_node(number, possible=labels, marks=marks)
    for number in list(graph):
        for edge in space.edges_from(number):
            label = space.product.labels[edge.label]
            drive = label.kind in by_system and not (
                label.kind == "rule" and space.product.chips[label.chip].actor
            )
            endless = label.kind == "lose" and any(
                fault.label == edge.label and fault.budget < 0 for fault in space.product.faults
            )
            gained = space.marks_at(edge.target) & ~space.marks_at(number) & query.without_gains
            usable = (drive or endless or not query.system_only) and not gained
            usable = usable and not edge.moved & query.held_still
            usable = usable and (query.only is None or edge.label in query.only)
            usable = usable and not (query.only_changes and edge.target == number)
            if usable and edge.target in graph:
                graph.add_edge(number, edge.target, label=edge.label, moved=edge.moved)
    return graph


def rests(product: Product, chip: int, state: tuple[int, ...]) -> bool:
    """Whether a chip is in a rest state."""
    form = product.chips[chip]
    return form.rests[state[form.state_field]]


def fair_parts(
    graph: nx.MultiDiGraph[int], fair: tuple[FairSet, ...], query: LoopQuery
) -> Iterator[set[int]]:
    """Sets of states, all reached from each other, that are fair to all sets: by taking away the
    states of one wronged strong set at a time, straight from the definition.
    """
    visits = sum(query.visits)
    for states in list(nx.strongly_connected_components(graph)):
        part = graph.subgraph(states)
        labels: set[int] = {data["label"] for _, _, data in part.edges(data=True)}
        if not labels or (visits and not any(part.nodes[n]["marks"] & visits for n in part)):
            continue
        movers = [data["moved"] for _, _, data in part.edges(data=True)]
        if query.restless >= 0 and not any(moved >> query.restless & 1 for moved in movers):
            continue
        weak = [one for one in fair if not one.strong and not one.labels & labels]
        if any(all(part.nodes[n]["possible"] & one.labels for n in part) for one in weak):
            continue
        for one in fair:
            holding = [n for n in part if part.nodes[n]["possible"] & one.labels]
            if one.strong and holding and not one.labels & labels:
                rest: nx.MultiDiGraph[int] = nx.MultiDiGraph(part)
                rest.remove_nodes_from(holding)
                yield from fair_parts(rest, fair, query)
                break
        else:
            yield set(part)


def states_along(
    product: Product, path: Path, space: Space
) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Every step of a path taken on the interpreter."""
    interpreter = Interpreter(product)
    state = product.initial
    for label, number in path:
        after = space.state(number)
        steps = interpreter.steps(state)
        assert any(step.label == label and step.after == after for step in steps)
        state = after
        yield label, state


def assert_fair_loop(
    product: Product, space: Space, stem: Path, loop: Path, query: LoopQuery
) -> None:
    """The stem and the loop can be replayed; the loop comes back, and is fair to every set."""
    steps = list(states_along(product, stem + loop, space))
    begin = steps[len(stem) - 1][1] if stem else product.initial
    taken = {label for label, _ in steps[len(stem) :]}
    states = [state for _, state in steps[len(stem) :]]
    assert states[-1] == begin
    interpreter = Interpreter(product)
    possible = [
        {step.label for step in interpreter.steps(state) if step.after != state} for state in states
    ]
    for one in product.fair:
        if one.labels & taken:
            continue
        if one.strong:
            assert not any(labels & one.labels for labels in possible)
        else:
            assert not all(labels & one.labels for labels in possible)
    for _, number in loop:
        marks = space.marks_at(number)
        assert marks & (query.wanted | query.unwanted) == query.wanted
    moved = 0
    for (_, before), (label, number) in zip([(-1, loop[-1][1]), *loop], loop, strict=False):
        movers = {
            edge.moved
            for edge in space.edges_from(before)
            if (edge.label, edge.target) == (label, number)
        }
        moved |= reduce(or_, movers)
        assert not all(own & query.held_still for own in movers) or not query.held_still
        assert query.only is None or label in query.only
        assert query.restless < 0 or not rests(product, query.restless, space.state(number))
    assert query.restless < 0 or moved >> query.restless & 1
    for mark in query.visits:
        assert any(space.marks_at(number) & mark for _, number in loop)


@given(devices(), st.integers(0, 1 << 16))
@settings(max_examples=settings().max_examples)
def test_plain_search_finds_a_fair_loop_where_there_is_one(drawn: Drawn, seed: int) -> None:
    """As a slow search by the definition says; and the loop that it tells is one."""
    product = with_random_fairness(compose(drawn.read()), seed)
    space = explore(product, max_states=MOST_STATES)
    query = some_query(product, seed)
    answer = space.fair_loop(query)
    graph = graph_of(space, query)
    parts = list(fair_parts(graph, product.fair, query))
    assert (answer.loop is not None) == bool(parts)
    if answer.loop is not None:
        numbers = [number for _, number in answer.loop.loop]
        (part,) = (one for one in parts if one.issuperset(numbers))
        depth_of = space.depth_of
        assert depth_of(min(part)) == min(depth_of(number) for one in parts for number in one)
        assert depth_of(numbers[-1]) == min(map(depth_of, numbers))
        assert_fair_loop(product, space, answer.loop.stem, answer.loop.loop, query)


@given(devices(), st.integers(0, 1 << 16))
@settings(max_examples=settings().max_examples // 2)
def test_compiled_search_agrees_with_the_plain_one(drawn: Drawn, seed: int) -> None:
    """The same verdict, the same assumptions, and the same loop, which is one."""
    product = with_random_fairness(compose(drawn.read()), seed)
    one = explore(product, max_states=MOST_STATES)
    assume(one.complete)
    two = explore_with(product, Search(engine="compiled", threads=1))
    for offset in range(3):
        query = some_query(product, seed + offset)
        first, second = one.fair_loop(query), two.fair_loop(query)
        assert (first.loop is None) == (second.loop is None)
        if first.loop is None or second.loop is None:
            assert first.rests_on == second.rests_on
            continue
        told = [
            [(label, space.state(number)) for label, number in found.loop]
            for space, found in ((one, first.loop), (two, second.loop))
        ]
        assert told[0] == told[1]
        assert len(first.loop.stem) == len(second.loop.stem)
        assert_fair_loop(product, two, second.loop.stem, second.loop.loop, query)


def test_loops_of_a_resting_device_need_somebody_who_moves() -> None:
    """A device whose only loop is its user's has none of its own."""
    device = device_from("""
device: lamp
chips: {lamp: {states: {dark: {rest: true}, lit: {rest: true}}, rules: [
  {in: dark, on: push, to: lit}, {in: lit, on: push, to: dark}]}}
actors: {player: {states: [here], rules: [{signal: [push]}]}}
""")
    space = explore(compose(device))
    assert space.fair_loop(LoopQuery(system_only=True)).loop is None
    found = space.fair_loop(LoopQuery()).loop
    assert found is not None
    assert len(found.loop) == 2


def with_idling(product: Product) -> Product:
    """The product with a step in which nothing happens, where nothing has to."""
    fields = (*product.fields, Field("nothing more happens", 0, 1, 0))
    labels = (*product.labels, Label("nothing more happens", "idle"))
    last = len(labels) - 1
    return replace(
        product, fields=fields, labels=labels, idle_label=last, idle_field=len(fields) - 1
    )


@pytest.mark.thorough
@given(devices(), st.integers(0, 1 << 16))
@settings(
    max_examples=settings().max_examples,
    # A step fails in most devices, and in most of the others there is a fair loop.
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
def test_what_an_answer_rests_on_is_enough(drawn: Drawn, seed: int) -> None:
    """Where there is no fair loop there is none either if only the sets that are named are fair,
    though a device may then stay where it could not before.
    """
    product = with_idling(with_random_fairness(compose(drawn.read()), seed))
    space = explore(product, max_states=MOST_STATES)
    assume(space.complete and not any(space.graph.failing))
    dice = random.Random(seed)  # noqa: S311 - not for secrets
    wanted = 1 << dice.randrange(len(product.conditions))
    query = LoopQuery(wanted=wanted) if dice.random() < 0.5 else LoopQuery(unwanted=wanted)
    answer = space.fair_loop(query)
    assume(answer.loop is None)
    named = tuple(product.fair[number] for number in sorted(answer.rests_on))
    event(f"rests on {min(len(named), 3)} sets")
    reduction = explore(replace(product, fair=named), max_states=2 * MOST_STATES)
    assert reduction.complete
    assert reduction.fair_loop(query).loop is None
