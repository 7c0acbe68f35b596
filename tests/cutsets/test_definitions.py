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


def table_of(text: str, most: int, engine: EngineName = "plain") -> FaultTable:
    return fault_table(device_from(text), most, most, Search(engine=engine), people=True)


@pytest.mark.parametrize("engine", ["plain", pytest.param("compiled", marks=pytest.mark.thorough)])
def test_what_only_a_further_fault_would_free_is_broken(engine: EngineName) -> None:
    """`check` counts a restart as a way back, as long as the budget allows for one."""
    table = table_of(HANGING, 2, engine)
    need = breakable(table, "broken-requirement:listens_again")
    assert [cut.counts for cut in need.sets] == [(0,)]
    assert need.sets[0].finding.steps == 1


def test_an_act_that_is_needed_twice_is_survived_once() -> None:
    """The second fall breaks the lamp; looking at it is never needed."""
    people = table_of(TWICE, 2).people
    assert people is not None
    needed = people.needed["broken-requirement:shines"]
    assert needed == {"hand.drop": 2, "hand.wave": 0}
    fewer = table_of(TWICE, 1).people
    assert fewer is not None
    assert fewer.needed["broken-requirement:shines"] == {"hand.drop": None, "hand.wave": 0}
