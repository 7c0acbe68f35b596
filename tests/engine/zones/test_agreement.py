"""Zones on random devices against digital clocks, which the plain interpreter counts."""

from __future__ import annotations

from hypothesis import assume, given, settings

from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.exploration import explore
from modecheck.engine.zones.runs import Runner
from modecheck.engine.zones.schedules import schedule_to
from modecheck.product.ir import Product
from tests.engine.zones.zonable import zonable
from tests.engine.zones.zone_graphs import explore_zones
from tests.generation.devices import Drawn, devices

MOST_STATES = 1500
EXAMPLES = 25


def without_time(product: Product, state: tuple[int, ...]) -> tuple[int, ...]:
    """A state but for what counts ticks; of a timer with a name, whether it runs."""
    assert product.time is not None
    named = {ticking.field for ticking in product.time.tickings if ticking.zero}
    others = {ticking.field for ticking in product.time.tickings} - named
    return tuple(
        bool(value) if field in named else value
        for field, value in enumerate(state)
        if field not in others
    )


@settings(max_examples=EXAMPLES)
@given(devices(options=False, timed=True))
def test_zones_reach_what_digital_clocks_reach(drawn: Drawn) -> None:
    """Every state but for its counts, every failing step, every rule taken, every encounter."""
    product = zonable(drawn)
    digital = explore(product, max_states=MOST_STATES)
    assume(digital.complete)
    zones = explore_zones(product, limits=Limits(states=20 * MOST_STATES))
    assert not zones.stopped_by
    reached = {without_time(product, digital.state(n)) for n in range(digital.state_count)}
    assert {without_time(product, node.situation.state) for node in zones.nodes} == reached
    assert {(one.failure.code, one.failure.subject) for one in zones.failed} == set(
        digital.failures
    )
    assert zones.observed.taken == digital.observed.taken
    assert zones.observed.encounters == digital.observed.encounters


@settings(max_examples=10)
@given(devices(options=False, timed=True))
def test_every_zone_has_a_run_that_the_plain_interpreter_takes(drawn: Drawn) -> None:
    """In whole ticks, step by step, into every node, and to every failing step."""
    product = zonable(drawn)
    zones = explore_zones(product, limits=Limits(states=MOST_STATES // 5))
    assume(not zones.stopped_by)
    runner, interpreter = Runner(product), Interpreter(product)
    for number, node in enumerate(zones.nodes):
        schedule = schedule_to(zones, number)
        run = runner.run(zones, schedule, schedule.earliest())
        end = run[-1][1] if run else product.initial
        assert without_time(product, end) == without_time(product, node.situation.state)
    for failed in zones.failed:
        schedule = schedule_to(zones, failed.node, failed.way)
        run = runner.run(zones, schedule, schedule.earliest())
        end = run[-1][1] if run else product.initial
        steps = [step for step in interpreter.steps(end) if step.label == failed.label]
        assert any(failed.failure in step.failures for step in steps)
