"""Minimal cut sets of published structures and fault trees, found in devices built like them."""

from __future__ import annotations

from itertools import combinations
from math import comb
from pathlib import Path

import pytest

from modecheck.model.devices import read_device
from tests.cutsets.structures import (
    breakable,
    cut_sets,
    fewer_than,
    minimal_sets,
    sets,
    structure,
    table_of,
)

BRIDGE = "abcde"
BRIDGE_PATHS = sets("ad", "be", "ace", "bcd")
"""The minimal path sets of the bridge, in which `c` joins the two branches a-d and b-e."""


def test_the_cut_sets_of_a_pressure_tank_are_those_of_the_fault_tree_handbook(
    tmp_path: Path,
) -> None:
    """Vesely, Goldberg, Roberts and Haasl, "Fault Tree Handbook", NUREG-0492 (1981), the rupture of
    a pressure tank: T, K2, and the pressure switch S with one of the relays K1 and R or the switch
    S1 (from memory).
    """
    names = ["tank", "relay_2", "pressure_switch", "relay_1", "timer_relay", "start_switch"]
    down = (
        "tank.off or relay_2.off"
        " or pressure_switch.off and (relay_1.off or timer_relay.off or start_switch.off)"
    )
    found = cut_sets(table_of(structure(tmp_path, names, down)))
    assert found == {
        frozenset({"tank"}),
        frozenset({"relay_2"}),
        frozenset({"pressure_switch", "relay_1"}),
        frozenset({"pressure_switch", "timer_relay"}),
        frozenset({"pressure_switch", "start_switch"}),
    }


@pytest.mark.parametrize("engine", ["plain", "compiled"])
def test_the_cut_sets_of_a_bridge(tmp_path: Path, engine: str) -> None:
    """Barlow and Proschan, "Statistical Theory of Reliability and Life Testing" (1975), chapter 1:
    1-2, 4-5, 1-3-5 and 2-3-4 (from memory), here with letters; and by definition, from the paths.
    """
    down = " and ".join(
        f"({' or '.join(f'{name}.off' for name in sorted(path))})"
        for path in sorted(BRIDGE_PATHS, key=sorted)
    )
    found = cut_sets(table_of(structure(tmp_path, BRIDGE, down), engine=engine))
    assert found == sets("ab", "de", "ace", "bcd")
    assert found == minimal_sets(BRIDGE, lambda some: all(some & path for path in BRIDGE_PATHS))


@pytest.mark.parametrize(("working", "names"), [(2, "abc"), (3, "abcd"), (2, "abcde"), (1, "abc")])
def test_k_out_of_n_fails_with_one_more_than_it_can_spare(
    tmp_path: Path, working: int, names: str
) -> None:
    """It has C(n, n-k+1) minimal cut sets, each of n-k+1 components (Barlow and Proschan 1975)."""
    table = table_of(structure(tmp_path, names, fewer_than(working, names)))
    failing = len(names) - working + 1
    assert cut_sets(table) == sets(*combinations(names, failing))
    assert len(breakable(table, "broken-requirement:works").sets) == comb(len(names), failing)


def test_consecutive_failures_bring_a_line_down(tmp_path: Path) -> None:
    """Consecutive-2-out-of-5: it fails where two neighbours do (Chiang and Niu 1981)."""
    names, pairs = "abcde", ("ab", "bc", "cd", "de")
    down = " or ".join(f"{pair[0]}.off and {pair[1]}.off" for pair in pairs)
    assert cut_sets(table_of(structure(tmp_path, names, down))) == sets(*pairs)


def test_a_bound_on_the_order_leaves_out_larger_sets(tmp_path: Path) -> None:
    """Of the bridge, only the pairs have up to two components."""
    down = "a.off and b.off or d.off and e.off or a.off and c.off and e.off"
    table = table_of(structure(tmp_path, BRIDGE, down), in_all=2)
    assert cut_sets(table) == sets("ab", "de")


VOTER = """\
device: a bit that is kept three times
chips:
{modules}actors:
  writer:
    states: [before, after]
    rules: {{write: {{in: before, signal: [store], to: after}}}}
faults:
  reset: {{chips: [one, two, three], at_most: 1}}
requirements:
  remembered:
    text: What was stored is what the majority holds
    never: >-
      writer.after and (one.bit == 0 and two.bit == 0 or one.bit == 0 and three.bit == 0
      or two.bit == 0 and three.bit == 0)
"""
MODULE = """\
  {name}:
    variables: {{bit: {{range: [0, 1]}}}}
    states: {{keeping: {{rest: true}}}}
    rules: {{store: {{on: store, do: [bit = 1]}}}}
"""


def test_triple_modular_redundancy_survives_one_fault_and_not_two(tmp_path: Path) -> None:
    """Lyons and Vanderveken, "The use of triple-modular redundancy to improve computer reliability"
    (1962). The same fault twice hits the same module twice, and is survived, too.
    """
    names = ("one", "two", "three")
    modules = "".join(MODULE.format(name=name) for name in names)
    path = tmp_path / "device.yaml"
    path.write_text(VOTER.format(modules=modules), encoding="utf-8")
    table = table_of(read_device(str(path), {}), most=2, in_all=3)
    need = breakable(table, "broken-requirement:remembered")
    assert {cut.counts for cut in need.sets} == {(1, 1, 0), (1, 0, 1), (0, 1, 1)}
    assert need.least == 2
    assert all(cut.finding.steps == 3 for cut in need.sets)
    assert not any(cut.allowed for cut in need.sets)
    assert not table.broken_as_modelled
