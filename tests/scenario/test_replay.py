"""Scenarios: every way is a run of the product, and a way that is none is refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move, ReplayError, replay
from modecheck.scenario.traces import Trace
from tests.generation.devices import Drawn, device_from, devices

EXAMPLES = settings().max_examples


def verdict_on(drawn: Drawn, states: int) -> Verdict:
    plain = Search(engine="plain", limits=Limits(states=states))
    return check([drawn.read()], search=plain, today=date(2026, 1, 1))


def ways_in(verdict: Verdict) -> list[Trace]:
    switches = [switch.trace for switch in verdict.explored[0].switches]
    return [
        trace for trace in [*(f.trace for f in verdict.findings), *switches] if trace is not None
    ]


@given(devices())
@settings(max_examples=EXAMPLES)
def test_every_way_can_be_replayed(drawn: Drawn) -> None:
    """Each way of each finding is a run from the initial state, explored to the end or not."""
    verdict = verdict_on(drawn, 250)
    product = verdict.explored[0].exploration.product
    for trace in ways_in(verdict):
        states = [product.initial]
        for replayed, move in zip(replay(product, trace.moves), trace.moves, strict=True):
            assert replayed.before == states[-1]
            assert (replayed.step.label, replayed.step.after) == (move.label, move.after)
            states += [move.after] if move.after is not None else []
        assert len(states) in (len(trace.moves), len(trace.moves) + 1)
        assert all(move.after is not None for move in trace.moves[:-1])
        assert 0 <= trace.switch_from <= len(trace.moves)


@given(devices())
@settings(max_examples=EXAMPLES)
def test_telling_follows_the_states(drawn: Drawn) -> None:
    """Each told step has its number, where every chip is then, and the variables that changed."""
    verdict = verdict_on(drawn, 150)
    product = verdict.explored[0].exploration.product
    for trace in ways_in(verdict):
        before = product.initial
        for number, (told, move) in enumerate(zip(trace.told, trace.moves, strict=True), 1):
            assert told.number == number
            assert told.label == product.labels[move.label].text
            if move.after is None:
                assert (told.states, told.changes) == ({}, ())
                continue
            places = {c.name: c.leaves[move.after[c.state_field]] for c in product.chips}
            assert told.states == places
            assert [text.split()[0] for text in told.changes] == [
                field.name
                for field, old, new in zip(product.fields, before, move.after, strict=True)
                if old != new and field.type is not None
            ]
            before = move.after


DEVICE = """
device: three steps
chips:
  hub:
    states: {one: {}, two: {}, three: {}}
    rules: [{name: go, in: one, to: two}, {name: go_on, in: two, to: three}, {in: three, to: one}]
"""


def product_and_way() -> tuple[Product, Trace]:
    explored = check([device_from(DEVICE)]).explored[0]
    space = explored.exploration
    path = space.path_to(2)
    return space.product, Trace(
        space.product, tuple(Move(label, space.state(n)) for label, n in path)
    )


def test_trace_of_no_moves_is_the_initial_state() -> None:
    """Nothing has to happen for what is wrong from the start."""
    product, _ = product_and_way()
    assert list(replay(product, ())) == []


def test_step_that_does_not_exist_is_refused() -> None:
    """A move with a label that is not enabled there names its position."""
    product, trace = product_and_way()
    swapped = (trace.moves[1], trace.moves[0])
    with pytest.raises(ReplayError, match="step 1 of a scenario, 'hub go_on', cannot be replayed"):
        list(replay(product, swapped))


def test_step_that_leads_elsewhere_is_refused() -> None:
    """A move into another state than the one that the step leads to is none."""
    product, trace = product_and_way()
    first, second = trace.moves
    with pytest.raises(ReplayError) as refused:
        list(replay(product, (first, replace(second, after=product.initial))))
    assert refused.value.position == 2


def test_step_that_should_fail_and_does_not_is_refused() -> None:
    """A failing last step must really fail."""
    product, trace = product_and_way()
    with pytest.raises(ReplayError):
        list(replay(product, (replace(trace.moves[0], after=None),)))
