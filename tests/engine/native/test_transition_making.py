"""Transitions are the same however many threads make them, and whoever meets which kind first."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from modecheck.engine.contract.space import Limits
from modecheck.engine.language.intrinsics import LINE
from modecheck.engine.native import transition_making
from modecheck.engine.native.graph import States, numbered_states
from modecheck.engine.native.growing_arrays import Reserved, Words
from modecheck.engine.native.machine import compiled
from modecheck.engine.native.native_numbers import MULTIPLY_ONE, MULTIPLY_TWO, U1
from modecheck.engine.native.reach import reach
from modecheck.engine.native.table_kernels import SPARE, hash_of
from modecheck.engine.native.transition_making import TransitionMaker, Transitions
from modecheck.engine.native.transition_making_kernels import (
    index_states,
    number_of,
    surely,
)
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from modecheck.engine.search.threads_together import do_together
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.sweeps import sweep

EXPECTED_KINDS = 20


@pytest.fixture(scope="module")
def states() -> States:
    """All states of the bundled device, with few transitions and many kinds of them."""
    product = compose(read_device(str(Path("models/tandem/device.yaml"))))
    machine = compiled(product, system_actions(product))
    reached = reach(machine, threads=1, limits=Limits(), reporter=Silent())
    found = numbered_states(reached)
    reached.give_back()
    return found


def transitions(states: States, threads: int) -> Transitions:
    most = states.count * states.machine.most_records
    return TransitionMaker(states.machine, states.words, states.expanded, most, states.seen).made(
        threads
    )


@pytest.mark.thorough
@pytest.mark.parametrize("threads", sweep([2, 3, 5], lambda threads: threads == 3))
def test_nothing_depends_on_the_number_of_threads(
    states: States, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Targets, kinds, and the numbers of kinds, which go by the first state that has one."""
    expected = transitions(states, 1)
    assert expected.moved.size > EXPECTED_KINDS
    monkeypatch.setattr(transition_making, "CHUNK", 7)
    found = transitions(states, threads)
    for name in Transitions.__dataclass_fields__:
        assert np.array_equal(getattr(found, name), getattr(expected, name)), name


@pytest.mark.thorough
def test_transitions_are_those_of_the_steps(states: States) -> None:
    """Each state's own code, called alone, gives the same targets, in the same order."""
    made = transitions(states, 1)
    numbers = {words: number for number, words in enumerate(rows(states))}
    for number in range(0, states.expanded, 97):
        after = [words for _, words, _, _ in states.steps(number) if words is not None]
        begin, end = made.first[number : number + 2]
        assert made.targets[begin:end].tolist() == [numbers[words] for words in after]


def rows(states: States) -> list[tuple[int, ...]]:
    return [tuple(row) for row in states.words.reshape(-1, states.width).tolist()]


def test_in_full_lines_states_are_looked_at(
    states: States, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a table that is nearly full most lines are, and tell nothing for sure."""
    expected = transitions(states, 1)
    monkeypatch.setattr(transition_making, "INDEX_FULLEST", 0.99)
    assert np.array_equal(transitions(states, 1).targets, expected.targets)


def test_states_with_the_same_half_of_a_hash_are_told_apart() -> None:
    """Of 300,000 numbers some share the half of the hash that stands in the table. For those the
    line is never sure of another one, and a look at the states finds the right one.
    """
    count = 300_000
    words = np.arange(count, dtype=np.uint64)
    halves = (hashes(words) >> np.uint64(32)).tolist()
    lines = count // LINE * 2
    table = Reserved((lines + SPARE) * LINE, huge_pages=False).words
    index_states(words, 1, 0, count, table, lines, ())
    times = Counter(halves)
    shared = [number for number, half in enumerate(halves) if times[half] > 1]
    assert len(shared) > 2
    sure = 0
    for number in [*shared, *range(0, count, 5_003)]:
        hash_ = np.uint64(hash_of(words, number, 1))
        told = surely(table, np.uint64(lines), hash_)
        assert told in (0, number + 1)
        sure += bool(told)
        at = np.uint64(number)
        assert number_of(words, U1, table, np.uint64(lines), words, at, hash_) == number + 1
    assert sure


def hashes(words: Words) -> Words:
    """Those of states of one word, computed as `kernels.mixed` says."""
    one = words * MULTIPLY_ONE
    mixed: Words = (one ^ (one >> np.uint64(32))) * MULTIPLY_TWO
    assert int(mixed[77]) == hash_of(words, 77, 1)
    return mixed


@pytest.mark.thorough
def test_too_many_kinds_are_an_error_in_every_thread(
    states: States, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever meets it first, all threads end, and it is raised where they were started."""
    before = threading.active_count()
    monkeypatch.setattr(transition_making, "CHUNK", 7)
    monkeypatch.setattr(transition_making, "make_transitions", lambda *_: -1)
    with pytest.raises(MemoryError, match="too many kinds"):
        transitions(states, 3)
    assert threading.active_count() == before


def test_what_one_thread_raises_ends_the_others() -> None:
    """The others are asked to end, are waited for, and then it is raised here."""
    asked = threading.Event()
    ended: list[int] = []

    def fails() -> None:
        raise ValueError("this one")

    def works(number: int) -> None:
        asked.wait(60)
        ended.append(number)

    many: list[list[Callable[[], None]]] = [
        [partial(works, 1), fails, partial(works, 2)],
        [fails, partial(works, 3)],
    ]
    for tasks in many:
        asked.clear()
        with pytest.raises(ValueError, match="this one"):
            do_together(tasks, asked.set)
    assert sorted(ended) == [1, 2, 3]
