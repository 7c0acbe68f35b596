"""The tasks of a level: each reads files of a store, writes new ones, and says what it found.

A task may be done twice, and by whichever process: it writes under names of its own, and the same
each time.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.exploring_kernels import SuccessorCode
from modecheck.engine.native.frame import RECORD_EXTRA
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.store import expanding_kernels as kernels
from modecheck.engine.store.folder_trust import trusted_bytes
from modecheck.engine.store.journal import OUTBOX, RUNS, STATES, Finished
from modecheck.engine.store.row_files import RowFile, distinct, split, write_rows
from modecheck.engine.store.row_kernels import merge_rows

PRODUCT = "product"
RECENT = 1 << 15
"""Rows that are remembered while a partition is expanded; their table fits the cache."""
AT_ONCE = 1 << 21
"""Rows that are collected before they are sorted."""
READ_AT_ONCE = 1 << 18
"""States that are read at a time."""
FEWEST_MERGED = 3
"""A run is merged with the one before it, if that is not this many times as large."""

Failures = tuple[tuple[int, ...], ...]


@lru_cache(maxsize=4)
def machine_of(folder: str, curious: frozenset[int] = frozenset()) -> CompiledProduct:
    """The product of a store as machine code, made or loaded once in a process."""
    product = pickle.loads(trusted_bytes(Path(folder) / PRODUCT))  # noqa: S301 - trusted
    return compiled(product, system_actions(product), curious=curious)


@lru_cache(maxsize=64)
def opened(path: str) -> RowFile:
    """A file of a store, whose checksum is computed once in a process."""
    return RowFile(Path(path))


@dataclass(frozen=True, slots=True)
class Group:
    """Partitions that one task works on: those from `begin` to `end`, of so many.

    What a task writes is named after the `run` of modecheck that gave it out, so that no two runs
    write files of the same name: a task that was given out by a run that is gone may still be done.
    """

    begin: int
    end: int
    partitions: int
    run: str = ""

    def __iter__(self) -> Iterator[int]:
        return iter(range(self.begin, self.end))


def groups(partitions: int, count: int, run: str = "") -> list[Group]:
    """All partitions in so many groups at the most."""
    count = min(partitions, count)
    ends = [partitions * number // count for number in range(count + 1)]
    return [Group(begin, end, partitions, run) for begin, end in pairwise(ends)]


def section_at(folder: str, place: str) -> tuple[RowFile, int]:
    """The file and the section that a place names."""
    name, _, section = place.partition(":")
    return opened(f"{folder}/{name}"), int(section)


def states_of(folder: str, record: Finished, level: int, group: Group) -> Iterator[Words]:
    """The states that a group has in a level, some at a time."""
    if not record.is_span:
        for place in filter(None, record.places[group.begin : group.end]):
            file, section = section_at(folder, place)
            yield from file.parts(section, READ_AT_ONCE)
        return
    file, section = section_at(folder, record.places[level - record.first])
    for rows in file.parts(section, READ_AT_ONCE):
        homes = homes_of(rows, file.width, group.partitions)
        own = (homes >= group.begin) & (homes < group.end)
        yield np.ascontiguousarray(rows.reshape(-1, file.width)[own]).reshape(-1)


def homes_of(rows: Words, width: int, partitions: int) -> NDArray[np.uint8]:
    """The partition of each row."""
    homes = np.empty(rows.size // width, np.uint8)
    kernels.homes_of(rows, width, partitions, homes)
    return homes


@dataclass(slots=True)
class Expander:
    """What expands states: the product's code, with room for what it finds."""

    machine: CompiledProduct
    level: int
    counters: NDArray[np.int64]
    code: SuccessorCode
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
        failed = np.zeros(most, np.uint64)
        return cls(machine, level, np.zeros(2, np.int64), code, failed, rows)

    @property
    def transitions(self) -> int:
        return int(self.counters[1])

    def found_from(self, rows: Words, recent: Words, found: Words) -> Iterator[int]:
        """Expand all rows; each time `found` is full, and at the end, how many rows are in it."""
        width, at = self.machine.layout.words, 0
        count = rows.size // width
        while at < count:
            at = int(
                with_steps(kernels.spread, self.machine)(
                    self.code, width, rows, at, count, recent, found, self.machine.most_records,
                    self.failed, self.failures, np.uint64(self.level), self.counters,
                )
            )  # fmt: skip
            if at < count:
                yield int(self.counters[0])
                self.counters[0] = 0

    def failing(self) -> Failures:
        """The failing steps: number of the failure, count, level plus one, label, words."""
        return tuple((number, *row) for number, row in enumerate(self.failures.tolist()) if row[0])


def with_steps(kernel: Kernel, machine: CompiledProduct) -> Kernel:
    """A kernel with the product's own steps inside, where it has code for that."""
    return _with_steps(kernel, machine.in_place) if machine.in_place else kernel


@lru_cache(maxsize=8)
def _with_steps(kernel: Kernel, in_place: Any) -> Kernel:
    return Kernel(kernel.function, in_place)


@dataclass(frozen=True, slots=True)
class Expanded:
    """What a partition of a level leads to: transitions, failing steps, files in the outbox."""

    transitions: int
    failures: Failures
    outbox: tuple[str, ...]


def expand(folder: str, level: int, record: Finished, group: Group, most_rows: int) -> Expanded:
    """Expand the states of a group in a level. What they lead to is put into the outbox, a section
    for each partition, in a file whenever there are more than `most_rows`.
    """
    machine = machine_of(folder)
    width = machine.layout.words
    expander = Expander.of(machine, level)
    room = max(AT_ONCE, 2 * machine.most_records)
    found, recent = np.empty(room * width, np.uint64), np.zeros(RECENT * width, np.uint64)
    written: list[str] = []
    parts: list[Words] = []

    def collect(count: int, *, last: bool) -> None:
        if count:
            parts.append(distinct(found[: count * width].copy(), width))
        if parts and (last or sum(part.size for part in parts) > most_rows * width):
            name = f"{OUTBOX}/{level:06}-{group.begin:02}-{len(written):03}-{group.run}"
            rows = parts[0] if len(parts) == 1 else distinct(np.concatenate(parts), width)
            homes = homes_of(rows, width, group.partitions)
            sections = split(rows, width, homes, group.partitions)
            write_rows(Path(folder) / name, width, sections, durable=False)
            written.append(name)
            parts.clear()

    for rows in states_of(folder, record, level, group):
        for count in expander.found_from(rows, recent, found):
            collect(count, last=False)
    collect(int(expander.counters[0]), last=True)
    return Expanded(expander.transitions, expander.failing(), tuple(written))


@dataclass(frozen=True, slots=True)
class Merged:
    """What is new in each partition of a group: how many states, where (nowhere is an empty text),
    and its runs of known states from now on.
    """

    counts: tuple[int, ...]
    places: tuple[str, ...]
    runs: tuple[tuple[str, ...], ...]


def merge(
    folder: str,
    level: int,
    group: Group,
    outbox: Sequence[str],
    runs: Sequence[Sequence[str]],
    cap: int,
) -> Merged:
    """The states of a group that are new in a level. Runs of up to `cap` rows are merged."""
    files = [opened(f"{folder}/{name}") for name in outbox]
    name = f"{STATES}/{level:06}-{group.begin:02}-{group.run}"
    sections = [
        new_states(folder, [file.rows(partition) for file in files], known)
        for partition, known in zip(group, runs, strict=True)
    ]
    width = machine_of(folder).layout.words
    if any(rows.size for rows in sections):
        write_rows(Path(folder) / name, width, sections)
    counts = tuple(rows.size // width for rows in sections)
    places = tuple(f"{name}:{number}" if count else "" for number, count in enumerate(counts))
    kept = tuple(
        with_run(folder, [*known, place], f"{partition:02}-{level:06}-{group.run}", cap)
        if place
        else tuple(known)
        for partition, known, place in zip(group, runs, places, strict=True)
    )
    return Merged(counts, places, kept)


def new_states(folder: str, parts: list[Words], runs: Sequence[str]) -> Words:
    """The rows of some parts that are in no run."""
    width = machine_of(folder).layout.words
    filled = [part for part in parts if part.size]
    if not filled:
        return np.empty(0, np.uint64)
    rows = filled[0] if len(filled) == 1 else distinct(np.concatenate(filled), width)
    known = np.zeros(rows.size // width, np.uint8)
    for run in runs:
        file, section = section_at(folder, run)
        file.flag(rows, known, section)
    return np.ascontiguousarray(rows.reshape(-1, width)[known == 0]).reshape(-1)


def with_run(folder: str, runs: list[str], name: str, cap: int) -> tuple[str, ...]:
    """Runs, of which the last is new, with small ones merged into one of this name, so that each is
    several times as large as the next.
    """
    sizes = [file.count(section) for file, section in (section_at(folder, run) for run in runs)]
    first, whole = len(runs) - 1, sizes[-1]
    while first > 0 and sizes[first - 1] < FEWEST_MERGED * whole and whole + sizes[first - 1] < cap:
        first -= 1
        whole += sizes[first]
    if first == len(runs) - 1:
        return tuple(runs)
    name = f"{RUNS}/{name}"
    places = [section_at(folder, run) for run in runs[first:][::-1]]
    write_run(folder, name, (file.rows(section) for file, section in places))
    return (*runs[:first], f"{name}:0")


def write_run(folder: str, name: str, parts: Iterable[Words]) -> None:
    """Write one run of the rows of several, none of which has a row of another; small ones first
    take the least time.
    """
    width = machine_of(folder).layout.words
    merged = np.empty(0, np.uint64)
    for part in parts:
        both = np.empty(merged.size + part.size, np.uint64)
        merge_rows(merged, part, width, both)
        merged = both
    write_rows(Path(folder) / name, width, [merged])


def gather(folder: str, records: Sequence[Finished], partition: Group) -> str:
    """A run of all states of a partition, from the files of all levels."""
    parts = [
        rows
        for record in records
        for level in range(record.first, record.end)
        for rows in states_of(folder, record, level, partition)
    ]
    run = f"{RUNS}/{partition.begin:02}-{records[-1].end:06}-gathered-{partition.run}"
    width = machine_of(folder).layout.words
    rows = np.concatenate(parts) if parts else np.empty(0, np.uint64)
    write_rows(Path(folder) / run, width, [distinct(rows, width)])
    return f"{run}:0"
