"""What an independent reader of the documents took otherwise, each on a small device: where the
documents leave one reading now, with the figures that it gives.
"""

from __future__ import annotations

import pytest

from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from tests.generation.devices import device_from
from tests.second_reading.search import search
from tests.stepping import begin

ENGINES: tuple[EngineName, ...] = ("plain", "compiled")

NOT_RUNNING = """
device: a timer that does not run, and an index that is out of range
chips:
  mcu:
    variables: {slots: {list: 1, bool: true}, at: {range: [1, 1]}}
    timers: {pause: 3 ms}
    states: {busy: {}, idle: {}}
    rules:
      - {name: looks, in: busy, expires: pause, if: 'slots[at]'}
      - {name: ends, in: busy, expires: pause, to: idle}
      - {name: rests, in: busy, to: idle}
      - {name: starts, in: idle, start: [pause], to: busy}
"""


@pytest.mark.parametrize("clock", ["", "clock: {tick: 1 ms}\n"], ids=["abstract", "clocked"])
def test_nobody_looks_at_a_condition_whose_timer_does_not_run(clock: str) -> None:
    """The index is out of range from the beginning, and looked at by no rule, nor by the next one
    for the same timer, before the timer has been started and has run out.
    """
    text = NOT_RUNNING + clock
    assert begin(text).labels == ["mcu rests"]
    device = device_from(text)
    steps = 6 if clock else 3  # among them three ticks
    for engine in ENGINES:
        found = {
            one.id: one.steps for one in check([device], search=Search(engine=engine)).findings
        }
        assert found["out-of-range:mcu.slots"] == steps
    reached = search(device, 100)
    failing = [n for n in reached.numbers if any(one.failures for one, _ in reached.outcomes[n])]
    assert reached.nearest(failing) == steps - 1


BESIDE_A_DEADLOCK = """
device: a chip that is stuck, and another that never goes on at all
chips:
  lamp: {states: {dark: {}}}
  radio:
    initial: idle
    states: {idle: {rest: true}, lost: {}, apart: {rest: true}}
    rules: [{in: idle, to: lost}, {in: idle, to: apart}]
"""


@pytest.mark.parametrize("engine", ENGINES)
def test_a_deadlock_explains_those_alone_whom_it_names(engine: EngineName) -> None:
    """In one of two ends lamp and radio wait for ever, in the other the lamp alone. So the deadlock
    names the lamp, and the radio is stuck for a reason of its own, although it ends in a deadlock,
    too. Of the lamp the deadlock says enough.
    """
    findings = check([device_from(BESIDE_A_DEADLOCK)], search=Search(engine=engine)).findings
    found = {one.id for one in findings if one.code in ("deadlock", "stuck-chip")}
    assert found == {"deadlock:lamp.dark", "stuck-chip:radio.lost"}


TORN = """
device: power that fails in the middle of a rule
chips:
  tile:
    variables: {kept: {bool: true, persistent: true, start: true}}
    states: {up: {rest: true}}
    rules: [{name: writes, do: [WRITES], steps: separate}]
faults: {power_cut: {chips: [tile]}}
"""


@pytest.mark.parametrize(("writes", "places"), [(1, 0), (2, 1), (3, 2)])
def test_a_rule_that_is_cut_is_a_step_for_each_place_between_two_writes(
    writes: int, places: int
) -> None:
    """There is a single state, so all steps lead where the whole rule leads: still they are told
    apart, and each is a transition.
    """
    text = TORN.replace("WRITES", ", ".join(["kept = kept", "kept = true", "kept = kept"][:writes]))
    for engine in ENGINES:
        space = check([device_from(text)], search=Search(engine=engine)).explored[0].exploration
        assert (space.state_count, space.transitions) == (1, 2 + places)
    reached = search(device_from(text), 10)
    assert sum(len(steps) for steps in reached.outcomes) == 2 + places
