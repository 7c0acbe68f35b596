"""The table that all threads fill: it grows in place, is filled anew where it cannot, and keeps
each state once, however many threads there are.
"""

from __future__ import annotations

import mmap
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from modecheck.engine.contract.space import Limits
from modecheck.engine.native import growing_arrays, table, workers
from modecheck.engine.native import reach as reach_module
from modecheck.engine.native.graph import numbered_states
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.native.reach import ReachedStates, reach
from modecheck.engine.native.table_kernels import store
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.benchmarks.explore import counters

COUNTERS = 5
WIDE = """
  wide_one:
    variables: {n: {range: [0, 2147483647]}}
    states: [s]
    rules: [{do: n = 2147483647 - n}]
  wide_two:
    variables: {n: {range: [0, 2147483647]}}
    states: [s]
    rules: [{do: n = 2147483647 - n}]
"""
"""Two switches of 31 bits each: a state takes two words."""
ONE_WIDE = WIDE[: WIDE.index("  wide_two")]
MORE = {"half a word": "", "one word": ONE_WIDE, "two words": WIDE}
"""What stands beside the counters, by what a state takes then."""


@pytest.fixture(scope="module", params=list(MORE))
def machine(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> CompiledProduct:
    """Five octal counters, alone or beside one or two wide switches."""
    path = Path(tmp_path_factory.mktemp("octal")) / "device.yaml"
    more = MORE[request.param]
    path.write_text(counters(COUNTERS) + more, encoding="utf-8")
    product = compose(read_device(str(path)))
    made = compiled(product, system_actions(product))
    assert made.layout.words == (2 if more == WIDE else 1)
    assert (table.stored_kind(made.layout) == np.uint32) == (not more)
    return made


def total(machine: CompiledProduct) -> int:
    """8^5 states of counters, twice as many with each switch."""
    switches = sum(place.bits == 31 for place in machine.layout.places)
    return int(8**COUNTERS) << switches


def explored(machine: CompiledProduct, threads: int) -> ReachedStates:
    return reach(machine, threads=threads, limits=Limits(), reporter=Silent())


def found_states(reached: ReachedStates) -> list[tuple[int, ...]]:
    """The words of every state that some thread has found."""
    width = reached.machine.layout.words
    return [
        tuple(row)
        for worker in reached.workers
        for states in worker.found()
        for row in states.reshape(-1, width).tolist()
    ]


@pytest.mark.parametrize("threads", [1, 2, 3, 5])
def test_each_state_is_found_once(machine: CompiledProduct, threads: int) -> None:
    """Each once, by any thread."""
    reached = explored(machine, threads)
    found = found_states(reached)
    assert len(found) == len(set(found)) == reached.states == total(machine)
    assert reached.layers == explored(machine, 1).layers


@pytest.mark.parametrize("threads", [1, 2])
def test_a_small_table_grows(
    machine: CompiledProduct, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Begun with a few lines, it grows many times in place, and loses and doubles nothing."""
    monkeypatch.setattr(table, "FIRST_LINES", 16)
    monkeypatch.setattr(table, "GROWTH", (1.1, 1.1))
    reached = explored(machine, threads)
    assert reached.table.lines > 16 * 10
    assert len(set(found_states(reached))) == reached.states == sum(reached.layers)
    assert reached.states == total(machine)


@pytest.mark.parametrize("threads", [1, 2])
def test_what_cannot_grow_in_place_is_filled_anew(
    machine: CompiledProduct, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where growing in place gives up half-way, every segment is made again from the states."""
    given_up = []

    def gives_up(*_arguments: object) -> int:
        given_up.append(True)
        return 1

    monkeypatch.setattr(table, "FIRST_LINES", 256)
    monkeypatch.setattr(table, "grow", gives_up)
    reached = explored(machine, threads)
    assert given_up
    assert len(set(found_states(reached))) == reached.states == sum(reached.layers)
    assert reached.states == total(machine)


@pytest.mark.parametrize(("threads", "given_up"), [(1, False), (2, True)])
def test_states_are_packed_where_memory_is_short(
    machine: CompiledProduct, threads: int, given_up: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those of one word; nothing is lost by that, nor is the order in which they are numbered
    another, also when segments are filled anew from what is packed.
    """
    plain = numbered_states(explored(machine, 1))
    monkeypatch.setattr(table, "FIRST_LINES", 64)
    monkeypatch.setattr(workers, "PACKED_TOGETHER", 1000)
    monkeypatch.setattr(workers, "QUOTA", 300)
    monkeypatch.setattr(growing_arrays, "PIECE", mmap.PAGESIZE)
    for name, value in (("LOOK_EVERY", 0), ("PACKED_FROM", 0), ("FEW", 100)):
        monkeypatch.setattr(reach_module, name, value)
    if given_up:
        monkeypatch.setattr(table, "grow", lambda *_arguments: 1)
    reached = explored(machine, threads)
    found = found_states(reached)
    assert len(found) == len(set(found)) == total(machine)
    packed = sum(block.size for worker in reached.workers for block in worker.packed)
    is_one_word = plain.width == 1
    assert packed > total(machine) * 0.9 if is_one_word else packed == 0
    kept = reached.states * plain.width * reached.workers[0].states.itemsize
    assert (reached.used_bytes - reached.table.bytes < kept / 2) == is_one_word
    states = numbered_states(reached)
    assert states.layers == plain.layers
    assert np.array_equal(states.words, plain.words)


@pytest.mark.parametrize(("threads", "fill"), [(1, 0.78), (2, 0.78), (1, 1.0)])
def test_a_table_is_filled_further_where_there_is_no_memory_to_grow(
    machine: CompiledProduct, threads: int, fill: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is lost by that; where even that is not enough, memory is what is lacking."""
    slots = 16 if table.stored_kind(machine.layout) == np.uint32 else 8
    monkeypatch.setattr(reach_module, "resident_memory", lambda: 0)
    monkeypatch.setattr(reach_module, "PACKED_FROM", 1)
    lines = int(total(machine) / fill / slots) // threads
    monkeypatch.setattr(table, "FIRST_LINES", lines)
    limits = Limits(memory=1)
    reached = reach(machine, threads=threads, limits=limits, reporter=Silent())
    found = found_states(reached)
    assert len(found) == len(set(found)) == reached.states
    assert (reached.states == total(machine)) == (fill < 1)
    assert reached.stopped_by == ("" if fill < 1 else limits.reached_memory)
    assert reached.table.lines == lines


@pytest.mark.parametrize("kind", [np.uint32, np.uint64])
def test_a_slot_is_filled_once(kind: type[np.unsignedinteger[Any]]) -> None:
    """Who comes second is told so, and what the first stored stays."""
    slots = np.zeros(8, kind)
    assert store(slots, np.uint64(3), np.uint64(7), (0,))
    assert not store(slots, np.uint64(3), np.uint64(9), (0,))
    assert slots.tolist() == [0, 0, 0, 7, 0, 0, 0, 0]
