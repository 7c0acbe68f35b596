"""Files of the transitions of a range of states, level by level, which are made once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.transition_making import NOTE_SLOTS, room_for_records
from modecheck.engine.native.transition_making_kernels import MOST_NOTES
from modecheck.engine.store.checked_files import DamagedFileError, checked_region, write_checked
from modecheck.engine.store.expanding_kernels import enter_all
from modecheck.engine.store.numbering import Numbering, numbering_of
from modecheck.engine.store.searching_kernels import number_rows
from modecheck.engine.store.step_kernels import make_steps
from modecheck.engine.store.tasks import machine_of, opened
from modecheck.engine.store.transition_packing import (
    LONGEST,
    REMEMBERED,
    STATES_TOGETHER,
    PackedSteps,
    StepFilter,
    pack_states,
    unpack_followed,
)

MAGIC, HEADER = int.from_bytes(b"steps v1", "little"), 7
"""The header: magic, kinds, levels, blocks, bytes of packed transitions, transitions, and the most
that a block has."""
STEPS_AT_ONCE = 1 << 18
"""Steps that are made at a time, at the most."""
UNPACKED_AT_ONCE = 1 << 16
"""Transitions that are unpacked at a time; they fit the cache."""

Array = NDArray[Any]
Kind = tuple[int, int]
"""What transitions have in common: who moved, and what happened, the label above the events."""
KIND = 3
"""Words of a kind in a file: the two, and the number of the first state that has one of it."""
Columns = tuple[Array, Array, Array]
"""Of each of some transitions its source, its kind, its target."""


@dataclass(frozen=True, slots=True)
class Made:
    """What is said of a file of transitions: their kinds, each with the first state that has one of
    it, in that order; and how many there are.
    """

    kinds: tuple[Kind, ...]
    born: tuple[int, ...]
    transitions: int


def kinds_in_order(made: Iterable[Made]) -> tuple[Kind, ...]:
    """All kinds, in the order of the first states with them, and of their steps."""
    first: dict[Kind, tuple[int, int]] = {}
    for one in made:
        for number, (kind, born) in enumerate(zip(one.kinds, one.born, strict=True)):
            first[kind] = min(first.get(kind, (born, number)), (born, number))
    return tuple(sorted(first, key=first.__getitem__))


def make_transitions_of(folder: str, name: str, number: int, most: int) -> Made:
    """Have the file of a range. `most` transitions are held at a time, at the most, and those of
    some more states.
    """
    numbering = numbering_of(folder, name)
    path = numbering.ranges.path(folder, "steps", number)
    try:
        return opened_transitions(path).about
    except DamagedFileError:
        pass
    making = _Making(folder, machine_of(folder), numbering)
    states = opened(numbering.ranges.path(folder, "ordered", number))
    for level in range(states.sections):
        rows = states.section(level)
        count = rows.count
        making.begin_level(count)
        first = int(numbering.begins[number, level])
        for begin in range(0, count, making.together):
            own = rows.between(begin, min(begin + making.together, count))
            making.add(own, first + begin)
            if making.held > most:
                making.flush()
    making.flush()
    making.write(Path(path))
    return opened_transitions(path).about


class _Making:
    """Transitions that are being made, of which some wait for the numbers of their targets."""

    def __init__(self, folder: str, machine: CompiledProduct, numbering: Numbering) -> None:
        self._folder, self._machine, self._numbering = folder, machine, numbering
        self._width = machine.layout.words
        room = STEPS_AT_ONCE // max(machine.most_records, 1) // STATES_TOGETHER
        self.together = max(room, 1) * STATES_TOGETHER
        steps = self.together * max(machine.most_records, 1)
        self._seen = np.zeros(len(machine.seen) + 64, np.uint8)
        self._records = room_for_records(machine)
        self._notes = np.zeros((NOTE_SLOTS, 3), np.uint64)
        self._known, self._born = np.zeros(1, np.int64), np.zeros(MOST_NOTES, np.int64)
        self._kinds = np.empty(steps, np.uint16)
        self._reached = np.empty(steps * self._width, np.uint64)
        self._targets = _DistinctRows(self._width)
        self._pieces: list[tuple[Array, Array, Array, Array]] = []
        self._levels: list[tuple[int, int]] = []
        self._offsets: list[Array] = []
        self._packed: list[Array] = []
        self._position = self._transitions = self._most = 0
        self._blocks = self.held = 0

    def begin_level(self, count: int) -> None:
        """What is added from now on are the `count` states of the next level."""
        self._levels.append((count, self._blocks))

    def add(self, rows: Words, first: int) -> None:
        """Make the transitions of some states, the first of which has the number `first`."""
        count = rows.size // self._width
        begins, failing = np.empty(count + 1, np.int64), np.empty(count, np.uint8)
        made = int(
            make_steps(
                np.uint64(self._machine.successors), self._width, rows, count, first, self._seen,
                self._records, self._notes, self._known, self._born, begins, failing, self._kinds,
                self._reached,
            )
        )  # fmt: skip
        if made < 0:
            raise MemoryError("too many kinds of transitions")
        targets = self._targets.numbered(self._reached, made)
        self._pieces.append((begins, failing, self._kinds[:made].copy(), targets))
        self.held += made
        self._blocks += -(-count // STATES_TOGETHER)

    def flush(self) -> None:
        """Find the numbers of all targets, and pack the transitions."""
        numbers = self._targets.numbers_in(self._folder, self._numbering)
        last = np.zeros(REMEMBERED, np.int64)
        for begins, failing, kinds, targets in self._pieces:
            offsets = np.empty(-(-failing.size // STATES_TOGETHER), np.int64)
            room = np.empty((int(begins[-1]) + failing.size) * LONGEST, np.uint8)
            size = pack_states(
                begins, failing, kinds, numbers[targets], last, room, offsets, self._position
            )
            self._offsets.append(offsets)
            self._packed.append(room[:size].copy())
            self._position += int(size)
            edges = np.diff(np.append(begins[:-1:STATES_TOGETHER], begins[-1]))
            self._most = max(self._most, int(edges.max()) + STATES_TOGETHER)
            self._transitions += int(begins[-1])
        self._pieces.clear()
        self._targets, self.held = _DistinctRows(self._width), 0

    def write(self, path: Path) -> None:
        """Write the file."""
        kinds = self._notes[self._notes[:, 2] != 0]
        kinds = kinds[np.argsort(kinds[:, 2])]
        kinds[:, 2] = self._born[: len(kinds)]
        header = (
            MAGIC, len(kinds), len(self._levels), self._blocks, self._position, self._transitions,
            self._most,
        )  # fmt: skip
        levels = np.array(self._levels, np.int64)
        parts = [np.array(header, np.uint64), kinds, levels, *self._offsets, *self._packed]
        write_checked(path, parts, durable=False)


class _DistinctRows:
    """Rows that are numbered as they come, each once."""

    def __init__(self, width: int) -> None:
        self._width, self._size = width, 0
        self._table, self._rows = np.zeros(1 << 10, np.uint32), np.empty(0, np.uint64)

    def numbered(self, rows: Words, count: int) -> Array:
        """The numbers of the first rows of some."""
        width, most = self._width, self._size + count
        if most * width > self._rows.size:
            self._rows = np.concatenate([self._rows, np.empty(most * width, np.uint64)])
        if 2 * most > self._table.size:
            self._table = np.zeros(4 * most, np.uint32)
            enter_all(self._table, self._rows, 0, self._size, width)
        numbers = np.empty(count, np.uint32)
        size = number_rows(rows, count, width, self._table, self._rows, self._size, numbers)
        self._size = int(size)
        return numbers

    def numbers_in(self, folder: str, numbering: Numbering) -> Array:
        """The numbers of the states that the rows are."""
        rows = self._rows[: self._size * self._width].reshape(-1, self._width)
        order = np.argsort(rows[:, 0]) if self._width == 1 else np.lexsort(rows.T[::-1])
        numbers = np.empty(self._size, np.uint32)
        numbers[order] = numbering.numbers_of(folder, rows[order].reshape(-1), self._width)
        return numbers


class TransitionFile:
    """A file of transitions, looked at where it lies. Raises `DamagedFileError`."""

    def __init__(self, path: Path) -> None:
        region: Any = checked_region(path, MAGIC, HEADER)
        header = np.frombuffer(region, np.uint64, HEADER).tolist()
        _, kinds, levels, blocks, size, transitions, self._most = header
        at = 8 * HEADER
        rows = np.frombuffer(region, np.uint64, KIND * kinds, at).reshape(-1, KIND).tolist()
        own = tuple((moved, happened) for moved, happened, _ in rows)
        self.about = Made(own, tuple(born for *_, born in rows), transitions)
        at += 8 * KIND * kinds
        self._levels = np.frombuffer(region, np.int64, 2 * levels, at).reshape(-1, 2)
        at += 16 * levels
        self._offsets = np.frombuffer(region, np.int64, blocks, at)
        self._packed = np.frombuffer(region, np.uint8, size, at + 8 * blocks)

    def blocks(self, levels: tuple[int, int], begins: Array) -> PackedSteps:
        """The blocks of some levels, whose first states have the numbers `begins`."""
        counts, first = self._levels[slice(*levels)].T
        sizes = -(-counts // STATES_TOGETHER)
        begin, end = int(first[0]), int(first[-1] + sizes[-1])
        before = STATES_TOGETHER * (np.arange(begin, end) - np.repeat(first, sizes))
        firsts = np.repeat(begins, sizes) + before
        ends = firsts + np.minimum(np.repeat(counts, sizes) - before, STATES_TOGETHER)
        return PackedSteps(self._packed, self._offsets[begin:end], firsts, ends)

    def followed(self, blocks: PackedSteps, wanted: Words, steps: StepFilter) -> Iterator[Columns]:
        """The transitions that are followed, of those states in some blocks that are in a set if it
        has words, some at a time, in order. What is told before is overwritten.
        """
        room = max(min(UNPACKED_AT_ONCE, self._most * blocks.offsets.size), self._most)
        sources, targets = np.empty(room, np.uint32), np.empty(room, np.uint32)
        kinds, last, block = np.empty(room, np.uint16), np.empty(REMEMBERED, np.int64), 0
        while block < blocks.offsets.size:
            block, filled = unpack_followed(
                blocks, block, wanted, steps, self._most, last, sources, kinds, targets
            )
            if filled:
                yield sources[:filled], kinds[:filled], targets[:filled]


@lru_cache(maxsize=256)
def opened_transitions(path: str) -> TransitionFile:
    """A file of transitions, whose checksum is computed once in a process."""
    return TransitionFile(Path(path))
