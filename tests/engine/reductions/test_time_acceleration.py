"""Time in which nothing can happen as one step, against every tick by itself."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.engine.contract.space import Limits
from modecheck.scenario.replay import replay
from tests.generation.devices import Drawn, device_from, devices

MOST_STATES = 500
EXAMPLES = settings().max_examples * (3 if settings().max_examples >= 100 else 1)

WAITS = """\
device: sample
clock: {tick: 1 ms}
chips:
  hub:
    states: {off: {rest: true}, warming: {}, ready: {rest: true}}
    rules:
      begin: {in: off, after: 20 ms, to: warming}
      warm: {in: warming, after: 30 s, to: ready}
"""


pytestmark = pytest.mark.usefixtures("own_cache")


def told(verdict: Verdict) -> list[tuple[str, str]]:
    """What is said, without how many steps it takes."""
    found = [(finding.id, finding.text) for finding in verdict.findings]
    return sorted(found + [(one.need.name, one.verdict) for one in verdict.requirements])


def verdict_on(
    drawn: Drawn, *, engine: EngineName = "plain", time_acceleration: bool = False
) -> Verdict:
    search = Search(
        engine=engine,
        threads=1,
        time_acceleration=time_acceleration,
        limits=Limits(states=MOST_STATES),
    )
    verdict = check([drawn.read()], search=search)
    assume(verdict.explored[0].exploration.complete)
    return verdict


@pytest.mark.thorough
@given(devices(timed=True, runs=True))
@settings(max_examples=EXAMPLES)
def test_the_verdict_is_the_same(drawn: Drawn) -> None:
    """The same findings and the same verdicts on requirements, and every scenario is a run."""
    whole, accelerated = verdict_on(drawn), verdict_on(drawn, time_acceleration=True)
    assert told(accelerated) == told(whole)
    product = accelerated.explored[0].exploration.product
    for finding in accelerated.findings:
        if finding.trace is not None:
            list(replay(product, finding.trace.moves))


PERIOD = """\
device: what goes on beside a period
clock: {tick: TICK}
chips:
  mcu:
    states: {busy: RESTS, done: {rest: true}}
    rules: RULES
actors:
  player: {states: [here], rules: [{in: here, period: 4 ms}]}
"""


@pytest.mark.parametrize("tick", ["1 ms", "2 ms", "4 ms"])
@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_a_period_of_one_tick_holds_nothing_up(engine: EngineName, tick: str) -> None:
    """Time can go on although a tick would leave everything as it is: a chip that is always busy is
    not busy for ever at one moment, whatever the tick is.
    """
    text = PERIOD.replace("TICK", tick).replace("RESTS", "{rest: true}")
    device = device_from(text.replace("RULES", "[{in: busy, to: busy}]"))
    for time_acceleration in (False, True):
        found = check(
            [device], search=Search(engine=engine, time_acceleration=time_acceleration)
        ).findings
        assert {one.id for one in found} == {"unreachable-state:mcu.done"}


@pytest.mark.parametrize("tick", ["1 ms", "2 ms", "4 ms"])
def test_a_longer_tick_does_not_let_a_period_stand_still(tick: str) -> None:
    """A chip that never moves again beside a player who may act each 4 ms is stuck while ticks
    change a count, and deadlocked where nothing changes at all: reduced or not.
    """
    text = PERIOD.replace("TICK", tick).replace("RESTS", "{}")
    device = device_from(text.replace("RULES", "[]"))
    code = "deadlock" if tick == "4 ms" else "stuck-chip"
    for time_acceleration in (False, True):
        found = {
            one.id
            for one in check([device], search=Search(time_acceleration=time_acceleration)).findings
        }
        assert found == {f"{code}:mcu.busy", "unreachable-state:mcu.done"}


@given(devices(timed=True))
@settings(max_examples=EXAMPLES // 2)
def test_both_engines_leap_alike(drawn: Drawn) -> None:
    """The same states, transitions and layers."""
    spaces = [
        verdict_on(drawn, engine=engine, time_acceleration=True).explored[0].exploration
        for engine in ("plain", "compiled")
    ]
    one, two = ((found.state_count, found.transitions, found.layers) for found in spaces)
    assert one == two


@pytest.mark.parametrize(("time_acceleration", "states"), [(True, 5), (False, 3005)])
def test_a_long_wait_is_one_step(*, time_acceleration: bool, states: int) -> None:
    """A tick of 10 ms is enough for 20 ms and 30 s; each wait is one step, or thousands."""
    device = device_from(WAITS if time_acceleration else WAITS.replace("tick: 1 ms", "tick: 10 ms"))
    found = (
        check([device], search=Search(time_acceleration=time_acceleration)).explored[0].exploration
    )
    assert found.state_count == states
