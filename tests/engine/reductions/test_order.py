"""Independent steps in one order, compared with all orders by the reference interpreter."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineUnavailable, Search
from modecheck.engine.contract.space import Limits, Space
from modecheck.engine.reference.plain import State
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.scenario.replay import replay
from tests.engine.reductions.test_symmetry import counters
from tests.generation.devices import Drawn, device_from, devices
from tests.generation.twins import twins

MOST_STATES = 800
EXAMPLES = settings().max_examples


def whole_of(device: Device) -> Verdict:
    return check([device], search=Search(engine="plain", limits=Limits(states=MOST_STATES)))


def ordered(device: Device, *, symmetry: bool = False) -> Verdict:
    return check([device], search=Search(engine="plain", order=True, symmetry=symmetry))


def space_of(verdict: Verdict) -> Space:
    return verdict.explored[0].exploration


def quiet_states(space: Space) -> dict[State, int]:
    """The states in which no chip and no link can step, with their depths."""
    return {space.state(number): space.depth_of(number) for number in space.quiescent(0)}


def deadlocks_in(verdict: Verdict) -> set[tuple[str, int | None, tuple[str, ...]]]:
    """Deadlocks by id, length of the shortest scenario, and what is said of them."""
    found = [finding for finding in verdict.findings if finding.code == "deadlock"]
    return {(finding.id, finding.steps, tuple(sorted(finding.details))) for finding in found}


def assert_real(verdict: Verdict, findings: list[Finding] | tuple[Finding, ...]) -> None:
    for finding in findings:
        if finding.trace is not None:
            list(replay(space_of(verdict).product, finding.trace.moves))


@pytest.mark.thorough
@given(devices(starts=True))
@settings(max_examples=5 * EXAMPLES)
def test_every_quiet_state_is_reached_as_soon(drawn: Drawn) -> None:
    """On random devices: the states in which nobody can step are the same as in all orders, at the
    same depth; so are the deadlocks, with scenarios of the same length.
    """
    device = drawn.read()
    whole = whole_of(device)
    assume(space_of(whole).complete)
    reduction = ordered(device)
    assert space_of(reduction).state_count <= space_of(whole).state_count
    assert quiet_states(space_of(reduction)) == quiet_states(space_of(whole))
    assert deadlocks_in(reduction) == deadlocks_in(whole)
    assert_real(reduction, reduction.findings)


@given(twins())
@settings(max_examples=EXAMPLES)
def test_both_reductions_together_keep_deadlocks(drawn: Drawn) -> None:
    """With identical units explored once as well, deadlocks are found by name all the same."""
    device = drawn.read()
    whole = whole_of(device)
    assume(space_of(whole).complete)
    reduction = ordered(device, symmetry=True)
    found, expected = deadlocks_in(reduction), deadlocks_in(whole)
    assert {one[:2] for one in found} == {one[:2] for one in expected}
    assert_real(reduction, reduction.findings)


def test_independent_counters_count_one_after_the_other() -> None:
    """Of k^n states of n counters that know nothing of each other, one path of k states remains."""
    whole, reduction = whole_of(counters(3, 8)), ordered(counters(3, 8))
    assert space_of(whole).state_count == 8**3
    assert space_of(reduction).state_count == 8


ENDING = """
device: two that end
chips:
  one:
    states: [a, b, c]
    rules:
      - {in: a, after: 1 ms, to: b}
      - {in: b, after: 1 ms, to: c}
  two:
    states: [a, b, c]
    rules:
      - {in: a, after: 1 ms, to: b}
      - {in: b, after: 1 ms, to: c}
"""


def test_one_order_of_a_grid_is_one_way_through_it() -> None:
    """Two chips of two steps each make a grid of nine states; five of them are on one way through,
    whose last one is the deadlock, after four steps.
    """
    whole, reduction = whole_of(device_from(ENDING)), ordered(device_from(ENDING))
    assert space_of(whole).state_count == 9
    assert space_of(reduction).state_count == 5
    assert {(f.id, f.steps) for f in reduction.findings} == {("deadlock:one.c+two.c", 4)}


RACE = """
device: a race
chips:
  one:
    variables: {done: bool}
    states: [a, b]
    rules:
      - {in: a, after: 1 ms, do: [done = true], to: b}
  two:
    states: [a, b, soon, later]
    rules:
      - {in: a, after: 1 ms, to: b}
      - {in: b, if: not one.done, to: soon}
      - {in: b, if: one.done, to: later}
"""

ROOM = """
device: a link that goes down makes room
chips:
  one:
    states: [a, done]
    rules:
      - {in: a, after: 1 ms, to: done}
  sender:
    states: [a, b, sent, skipped]
    rules:
      - {in: a, after: 1 ms, send: [word], to: b}
      - {in: b, after: 1 ms, if: not one.done, send: [word], to: sent}
      - {in: b, after: 1 ms, if: one.done, to: skipped}
  receiver:
    states: {deaf: {defers: [word]}}
  plug:
    states: [inside, outside]
    rules:
      - {in: inside, after: 1 ms, if: not sender.a, to: outside}
links:
  cord: {from: sender, to: receiver, carries: [word], when_full: wait, up_when: plug.inside}
"""


@pytest.mark.parametrize("text", [RACE, ROOM], ids=["race", "room"])
def test_who_comes_first_still_matters(text: str) -> None:
    """What is not possible yet may come before what is: both ends of a race are found, also where a
    link that goes down makes the room that a sender waits for.
    """
    device = device_from(text)
    expected = deadlocks_in(whole_of(device))
    assert len(expected) == 2
    assert deadlocks_in(ordered(device)) == expected


def test_what_is_not_preserved_is_not_asked() -> None:
    """No check but that for deadlocks is run, and the verdict is never that nothing is wrong."""
    verdict = ordered(counters(2, 3))
    assert verdict.findings == ()
    assert not verdict.complete
    assert "stuck-chip" in verdict.explored[0].reduced.not_asked
    assert "deadlock" not in verdict.explored[0].reduced.not_asked


def test_only_the_plain_engine_orders_steps() -> None:
    """Asked to do it in machine code, the tool says that it cannot."""
    with pytest.raises(EngineUnavailable, match="order"):
        check([counters(2, 2)], search=Search(engine="compiled", order=True))


BUNDLED = [
    *sorted(Path("models/small").glob("*.yaml")),
    *sorted(Path("models/published").glob("philosophers*.yaml")),
    *(Path(f"models/faulty/{name}.yaml") for name in ("silent_plug", "advertising_never_restarts")),
]


@pytest.mark.parametrize("path", BUNDLED, ids=lambda path: path.stem)
def test_bundled_devices_keep_their_deadlocks(path: Path) -> None:
    """Devices that people wrote have the same deadlocks, alone and with both reductions."""
    device = read_device(str(path))
    whole = check([device], search=Search(engine="plain"))
    assert deadlocks_in(ordered(device)) == deadlocks_in(whole)
    assert {one[:2] for one in deadlocks_in(ordered(device, symmetry=True))} == {
        one[:2] for one in deadlocks_in(whole)
    }
