"""The table of mode switches on small devices; brute force checks it on random ones elsewhere."""

from __future__ import annotations

from modecheck.checks.explored import Explored
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.verdict import check
from tests.generation.devices import device_from

RING = """
device: ring of modes
chips:
  hub:
    states: {wired: {}, unplugging: {}, radio: {}, pairing: {}, bluetooth: {}, dead: {}}
    rules:
      - {in: wired, after: 1 s, to: unplugging}
      - {in: unplugging, after: 1 s, to: radio}
      - {in: radio, after: 1 s, to: bluetooth}
      - {in: bluetooth, after: 1 s, to: pairing}
      - {in: pairing, after: 1 s, to: wired}
      - {in: wired, after: 9 s, to: bluetooth}
modes: {wired: hub.wired, radio: hub.radio, bluetooth: hub.bluetooth, dead: hub.dead}
"""


def explored(text: str) -> Explored:
    return check([device_from(text)]).explored[0]


def switches(text: str) -> dict[str, ModeSwitch]:
    return {f"{one.source}->{one.target}": one for one in explored(text).switches}


def test_every_ordered_pair_is_told() -> None:
    """Four modes have twelve switches."""
    assert len(switches(RING)) == 12


def test_direct_switch_passes_only_through_no_mode() -> None:
    """Its steps are counted from a state of the first mode into the second."""
    found = switches(RING)
    direct = {name: one.steps for name, one in found.items() if one.direct}
    assert direct == {
        "wired->radio": 2,
        "wired->bluetooth": 1,
        "radio->bluetooth": 1,
        "bluetooth->wired": 2,
    }


def test_switch_over_other_modes_names_them() -> None:
    """Where there is no direct switch the shortest path tells which modes it passes."""
    found = switches(RING)
    assert (found["radio->wired"].steps, found["radio->wired"].via) == (3, ("bluetooth",))
    assert (found["bluetooth->radio"].steps, found["bluetooth->radio"].via) == (4, ("wired",))
    assert not found["radio->wired"].direct


def test_mode_that_is_never_reached_has_no_switches() -> None:
    """No path leads into or out of it."""
    found = switches(RING)
    assert not any(one.possible for name, one in found.items() if "dead" in name)


def test_trace_of_a_switch_begins_at_the_initial_state() -> None:
    """A way leads to the first mode, and where the switch begins in it is marked."""
    one = explored(RING)
    for switch in one.switches:
        if switch.trace is not None:
            told = switch.trace.told
            before = told[switch.trace.switch_from - 1].states if switch.trace.switch_from else None
            assert before is None or before["hub"] == switch.source
            assert told[-1].states["hub"] == switch.target
            assert len(told) - switch.trace.switch_from == switch.steps


def test_states_of_each_mode_are_counted() -> None:
    """A mode that is reached has as many states as its condition holds in."""
    assert explored(RING).modes == {"wired": 1, "radio": 1, "bluetooth": 1, "dead": 0}


def test_three_modes_at_once_are_one_finding() -> None:
    """Each set of modes that occurs together is told once, named in the order of the device."""
    verdict = check(
        [
            device_from("""
device: together
chips: {hub: {states: {a: {rest: true}}, rules: [{to: a}]}}
modes: {one: hub.a, two: hub.a, three: hub.a}
""")
        ]
    )
    two = [finding.id for finding in verdict.findings if finding.code == "two-modes"]
    assert two == ["two-modes:one+two+three"]


def test_unending_switch_is_told_for_the_mode_that_was_left() -> None:
    """A state without a path to any mode belongs to the mode that was left last, by a short way."""
    verdict = check(
        [
            device_from("""
device: unending
chips:
  hub:
    states: {wired: {}, radio: {}, between: {}, dead: {}}
    rules:
      - {in: wired, after: 1 s, to: radio}
      - {in: radio, after: 1 s, to: between}
      - {in: between, after: 1 s, to: dead}
      - {in: between, after: 1 s, to: wired}
modes: {wired: hub.wired, radio: hub.radio}
""")
        ]
    )
    found = {finding.id: finding.steps for finding in verdict.findings}
    assert found["unending-switch:radio"] == 3
    assert "unending-switch:wired" not in found
