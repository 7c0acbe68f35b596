"""What single faults and acts do: each outcome, the time it takes, and what is taken away."""

from __future__ import annotations

from fractions import Fraction

from modecheck.cutsets.effects import KEPT, LOST, MAY_RETURN, RETURNS, Effect
from modecheck.cutsets.fault_table import FaultTable, fault_table
from modecheck.engine.choice import Search
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.generation.devices import device_from
from tests.models.bundled import MODELS

RESTARTING = """
device: a lamp that takes a while
clock: {tick: 1 s}
modes: {shining: lamp.lit}
chips:
  lamp:
    states:
      starting: {rules: [{after: [2 s, 4 s], to: warming}]}
      warming: {rules: [{after: 3 s, to: lit}]}
      lit: {rest: true}
faults: {power_cut: {chips: [lamp], at_most: 1}}
"""
FLICKERING = """
device: a lamp that may flicker
modes: {shining: lamp.lit}
chips:
  lamp:
    states:
      lit: {rest: true, rules: [{on: shaken, to: loose}]}
      loose: {rules: [{name: settle, to: lit}, {name: slip, to: looser}]}
      looser: {rules: [{name: slip_back, to: loose}]}
actors:
  table: {states: [still], rules: [{name: shake, signal: shaken, text: is shaken}]}
"""


def effect_of(table: FaultTable, name: str, goal: str) -> Effect:
    """What a fault or an act does to a mode or a pairing."""
    every = (*table.single, *(table.people.effects if table.people else ()))
    found = next(one for one in every if one.name == name)
    return next(one for one in found.effects if one.name == goal)


def table_of(device: Device, *, people: bool = False) -> FaultTable:
    return fault_table(device, 1, 1, Search(engine="plain"), people=people)


def bundled(name: str) -> Device:
    return read_device(str(MODELS / f"{name}.yaml"), {})


def test_a_mode_that_comes_back_does_so_after_its_longest_time() -> None:
    """4 s at most to start and 3 s to warm up: two rules, and as many ticks."""
    table = table_of(device_from(RESTARTING))
    found = effect_of(table, "power_cut(lamp)", "shining")
    assert (found.outcome, found.ticks) == (RETURNS, 7)
    assert found.steps == 9
    assert Fraction(1) == table.counted.declared.clock.tick  # type: ignore[union-attr]


def test_a_loop_that_nothing_ends_may_keep_a_mode_away() -> None:
    """The contact settles or slips: settling is possible again and again, but not all the time, so
    weak fairness does not bring it about.
    """
    table = table_of(device_from(FLICKERING), people=True)
    found = effect_of(table, "table.shake", "shining")
    assert (found.outcome, found.ends) == (MAY_RETURN, ("",))


def test_a_key_that_is_not_stored_is_lost_with_the_power() -> None:
    """And so is the pairing; where it is stored, it is kept."""
    twin, original = table_of(bundled("faulty/volatile_bond")), table_of(bundled("small/handshake"))
    assert effect_of(twin, "power_cut(hub)", "pair").outcome == LOST
    assert effect_of(original, "power_cut(hub)", "pair").outcome == KEPT


def test_what_is_in_flight_is_taken_away() -> None:
    """A tile without power no longer hears what the hub has sent; a lost message is one."""
    table = table_of(bundled("small/handshake"))
    lost = {one.name: one.lost for one in table.single}
    assert lost["power_cut(tile)"] == (("down", "key"), ("down", "forget"))
    assert lost["lose(up)"] == (("up", "ask"), ("up", "forgotten"))


def test_a_wanted_act_leaves_a_mode_for_another() -> None:
    """Unplugging leads from the cable to the radio, and remains there."""
    table = table_of(bundled("starter/device"), people=True)
    found = effect_of(table, "player.pull", "wired")
    assert (found.outcome, found.ends) == (LOST, ("radio",))
    assert effect_of(table, "player.step", "wired").outcome == KEPT
