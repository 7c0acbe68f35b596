"""What a cut set and a count of acts mean, in devices small enough to see it."""

from __future__ import annotations

import pytest

from modecheck.cutsets.fault_table import FaultTable, fault_table
from modecheck.engine.choice import EngineName, Search
from tests.cutsets.structures import breakable
from tests.generation.devices import device_from

HANGING = """
device: a chip that only a restart frees
chips:
  radio:
    states:
      listening: {rest: true, rules: [{on: noise, to: hung}]}
      hung: {rest: true}
actors:
  street: {states: [there], rules: [{name: pass_by, signal: noise}]}
faults: {power_cut: {chips: [radio], at_most: 5}}
requirements:
  listens_again: {text: It listens again, recoverable: {to: radio.listening}}
"""
TWICE = """
device: a lamp that is lost at the second fall
chips:
  lamp:
    states:
      whole: {rest: true, rules: [{on: fall, to: cracked}]}
      cracked: {rest: true, rules: [{on: fall, to: broken}]}
      broken: {rest: true}
actors:
  hand: {states: [there], rules: [{name: drop, signal: fall}, {name: wave, signal: look}]}
requirements:
  shines: {text: It shines, never: lamp.broken}
"""

ASKING = """
device: two pedals that ask a hub once each, over radios that lose messages
chips:
  front:
    states: {idle: {rest: true}, asking: {}, answered: {rest: true}}
    rules:
      - {in: idle, on: step, send: [ask], to: asking}
      - {in: asking, on: answer, to: answered}
  rear:
    states: {idle: {rest: true}, asking: {}, answered: {rest: true}}
    rules:
      - {in: idle, on: lift, send: [ask], to: asking}
      - {in: asking, on: answer, to: answered}
  hub:
    states: {ready: {rest: true}}
    rules:
      - {on: ask via front_up, send: [answer via front_down]}
      - {on: ask via rear_up, send: [answer via rear_down]}
actors:
  player: {states: [there], rules: [{name: step, signal: step}, {name: lift, signal: lift}]}
links:
  front_up: {from: front, to: hub, carries: [ask]}
  rear_up: {from: rear, to: hub, carries: [ask]}
  front_down: {from: hub, to: front, carries: [answer]}
  rear_down: {from: hub, to: rear, carries: [answer]}
faults: {lose: {links: [front_up, rear_up], at_most: 2}}
"""


def table_of(text: str, most: int, engine: EngineName = "plain") -> FaultTable:
    return fault_table(device_from(text), most, most, Search(engine=engine), people=True)


@pytest.mark.parametrize("engine", ["plain", pytest.param("compiled", marks=pytest.mark.thorough)])
def test_what_only_a_further_fault_would_free_is_broken(engine: EngineName) -> None:
    """`check` counts a restart as a way back, as long as the budget allows for one."""
    table = table_of(HANGING, 2, engine)
    need = breakable(table, "broken-requirement:listens_again")
    assert [cut.counts for cut in need.sets] == [(0,)]
    assert need.sets[0].finding.steps == 1


def test_what_fewer_faults_bring_about_is_not_told_again_of_more() -> None:
    """Each pedal waits in vain after one loss. That both do after two is a consequence, and so is
    that one is stuck while the other goes on: `check` does not report it beside the deadlocks.
    """
    table = table_of(ASKING, 2)
    broken = {one.id: [cut.counts for cut in one.sets] for one in table.breakable if one.sets}
    assert broken == {"deadlock:front.asking": [(1, 0)], "deadlock:rear.asking": [(0, 1)]}


def test_an_act_that_is_needed_twice_is_survived_once() -> None:
    """The second fall breaks the lamp; looking at it is never needed."""
    people = table_of(TWICE, 2).people
    assert people is not None
    needed = people.needed["broken-requirement:shines"]
    assert needed == {"hand.drop": 2, "hand.wave": 0}
    fewer = table_of(TWICE, 1).people
    assert fewer is not None
    assert fewer.needed["broken-requirement:shines"] == {"hand.drop": None, "hand.wave": 0}
