"""The first task of a level: what the states of a slice lead to, sorted, for each partition."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.exploring_kernels import SuccessorCode
from modecheck.engine.native.frame import RECORD_EXTRA
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.store import expanding_kernels as kernels
from modecheck.engine.store.journal import OUTBOX, Finished
from modecheck.engine.store.packed_rows import distinct, pack, shape_of
from modecheck.engine.store.row_files import write_packed
from modecheck.engine.store.tasks import LevelSlice, machine_of, opened, sliced

RECENT = 1 << 15
"""Rows that are remembered while states are expanded, at the most: their table fits the cache of a
core, and so asking for one takes less time than sorting it."""
MOST_FOUND = 1 << 23
"""Rows that are collected before they are written, at the most."""

Failures = tuple[tuple[int, ...], ...]


@dataclass(slots=True)
class Expander:
    """What expands states: the product's code, with room for what it finds."""

    machine: CompiledProduct
    level: int
    counters: NDArray[np.int64]
    code: SuccessorCode
    waiting: Words
    failed: Words
    failures: Words

    @classmethod
    def of(cls, machine: CompiledProduct, level: int) -> Expander:
        words, most = machine.layout.words, machine.most_records
        code = SuccessorCode(
            np.uint64(machine.successors),
            np.zeros(len(machine.seen) + 64, np.uint8),
            np.zeros(most * (words + RECORD_EXTRA) + 1, np.uint64),
        )
        rows = np.zeros((max(len(machine.failures), 1), 3 + words), np.uint64)
        waiting, failed = np.zeros((most + 1) * words, np.uint64), np.zeros(most, np.uint64)
        return cls(machine, level, np.zeros(2, np.int64), code, waiting, failed, rows)

    @property
    def transitions(self) -> int:
        return int(self.counters[1])

    def spread(self, rows: Words, begin: int, recent: Words, outbox: Outbox) -> int:
        """Expand rows from `begin` on, until all are or the outbox is full; where it stopped."""
        width = self.machine.layout.words
        return int(
            with_steps(kernels.spread, self.machine)(
                self.code, shape_of(width), rows, begin, rows.size // width, recent, outbox.found,
                outbox.fills, self.waiting, self.machine.most_records, self.failed, self.failures,
                np.uint64(self.level), self.counters,
            )
        )  # fmt: skip

    def failing(self) -> Failures:
        """The failing steps: number of the failure, count, level plus one, label, words."""
        return tuple((number, *row) for number, row in enumerate(self.failures.tolist()) if row[0])


def with_steps(kernel: Kernel, machine: CompiledProduct) -> Kernel:
    """A kernel with the product's own steps inside, where it has code for that."""
    return _with_steps(kernel, machine.in_place) if machine.in_place else kernel


@lru_cache(maxsize=8)
def _with_steps(kernel: Kernel, in_place: Any) -> Kernel:
    return Kernel(kernel.function, in_place)


@lru_cache(maxsize=1)
def _room(words: int) -> Words:
    """Room that is used again by the next task: getting it from the system takes time."""
    return np.empty(words, np.uint64)


class Outbox:
    """What one task finds, in memory until there is too much of it, and then in files that have a
    section for each partition.
    """

    def __init__(self, folder: str, name: str, width: int, partitions: int, room: int) -> None:
        self._folder = folder
        self._name = name
        self._width = width
        self._room = room
        self.found = _room(partitions * room * width)
        self.fills = np.zeros(partitions, np.int64)
        self.written: list[str] = []

    def make_room(self) -> None:
        """Leave out what was found twice; write the rest to a file, if that was not much."""
        sections = self._sections()
        if max(rows.size for rows in sections) > self._room * self._width // 2:
            self._write(sections)
            return
        parts = self.found.reshape(self.fills.size, -1)
        for number, rows in enumerate(sections):
            parts[number, : rows.size] = rows
            self.fills[number] = rows.size // self._width

    def close(self) -> None:
        """Write what is left."""
        if self.fills.any():
            self._write(self._sections())

    def _sections(self) -> list[Words]:
        parts = self.found.reshape(self.fills.size, -1)
        return [
            distinct(part[: fill * self._width], self._width)
            for part, fill in zip(parts, self.fills.tolist(), strict=True)
        ]

    def taken(self) -> list[Words]:
        """What was found, partition by partition, which is then left out; good until more is."""
        sections = self._sections()
        self.fills[:] = 0
        return sections

    def _write(self, sections: list[Words]) -> None:
        name = f"{self._name}-{len(self.written):03}"
        packed = [pack(rows, self._width) for rows in sections]
        write_packed(Path(self._folder) / name, self._width, packed, durable=False)
        self.written.append(name)
        self.fills[:] = 0


@dataclass(frozen=True, slots=True)
class Expanded:
    """What a slice of a level leads to: transitions, failing steps, files in the outbox."""

    transitions: int
    failures: Failures
    outbox: tuple[str, ...]


def room_for(memory: int, width: int) -> int:
    """Rows that a task with so many bytes collects: half of them, the rest is for sorting."""
    return min(memory // (16 * width), MOST_FOUND)


def expand(folder: str, level: int, record: Finished, own: LevelSlice, memory: int) -> Expanded:
    """Expand the states of a slice of a level, in about so many bytes of memory."""
    machine = machine_of(folder)
    width, expander = machine.layout.words, Expander.of(machine, level)
    name = f"{OUTBOX}/{level:06}-{own.number:03}-{own.run}"
    room = max(room_for(memory, width) // own.partitions, 2 * machine.most_records)
    outbox = Outbox(folder, name, width, own.partitions, room)
    recent = np.zeros(min(RECENT, room * own.partitions) * width, np.uint64)
    for rows in sliced(folder, record, level, own):
        at = 0
        while at < rows.size // width:
            at = expander.spread(rows, at, recent, outbox)
            if at < rows.size // width:
                outbox.make_room()
    outbox.close()
    opened.cache_clear()  # files that are removed take room as long as they are open
    return Expanded(expander.transitions, expander.failing(), tuple(outbox.written))
