"""What the tasks of a store share: the product, its files, and how states are divided.

A task reads files of a store, writes new ones, and says what it found. It may be done twice, and by
whichever process: it writes under names of its own, and the same each time.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.store import expanding_kernels as kernels
from modecheck.engine.store.folder_trust import trusted_bytes
from modecheck.engine.store.journal import Finished
from modecheck.engine.store.packed_rows import distinct
from modecheck.engine.store.row_files import RowFile
from modecheck.engine.store.row_kernels import BLOCK

PRODUCT = "product"
READ_AT_ONCE = 1 << 18
"""States that are read at a time."""
READ_TOGETHER = 1 << 18
"""States of all partitions that are read, and expanded in their order, at a time."""


@lru_cache(maxsize=4)
def machine_of(folder: str, curious: frozenset[int] = frozenset()) -> CompiledProduct:
    """The product of a store as machine code, made or loaded once in a process."""
    product = pickle.loads(trusted_bytes(Path(folder) / PRODUCT))  # noqa: S301 - trusted
    return compiled(product, system_actions(product), curious=curious)


@lru_cache(maxsize=512)
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


@dataclass(frozen=True, slots=True)
class LevelSlice:
    """A part of a level, of so many, that one task expands: of each partition the states of a part
    of its blocks. States that are near each other in the order of rows often lead to the same ones,
    which are then found by the same task. `run` is as in a group.
    """

    number: int
    slices: int
    partitions: int
    run: str = ""


def sliced(folder: str, record: Finished, level: int, own: LevelSlice) -> Iterator[Words]:
    """The states of a slice of a level, some at a time, all partitions side by side."""
    places = [record.places[level - record.first]] if record.is_span else record.places
    sections = []
    for place in filter(None, places):
        file, section = section_at(folder, place)
        packed = file.section(section)
        begin, end = (packed.offsets.size * n // own.slices for n in (own.number, own.number + 1))
        sections.append((packed, begin, end))
    width = machine_of(folder).layout.words
    steps = -(-sum(end - begin for _, begin, end in sections) * BLOCK // READ_TOGETHER)
    for step in range(steps):
        parts = []
        for packed, begin, end in sections:
            first, last = (begin + (end - begin) * n // steps for n in (step, step + 1))
            parts.append(packed.part(first, last))
        rows = np.concatenate(parts)
        yield rows if len(parts) == 1 else distinct(rows, width)


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


def spans_of(
    folder: str, record: Finished, group: Group
) -> Iterator[tuple[Words, NDArray[np.int64]]]:
    """The states that a group has in all levels of a record, some at a time, with the level of
    each: in the order of levels where they lie in one file.
    """
    if not record.is_span:
        for rows in states_of(folder, record, record.first, group):
            count = rows.size // machine_of(folder).layout.words
            yield rows, np.full(count, record.first, np.int64)
        return
    ends = np.cumsum([0, *record.sizes])
    begin = 0
    while begin < len(record.sizes):
        end = max(int(np.searchsorted(ends, ends[begin] + READ_AT_ONCE, "right")) - 1, begin + 1)
        file, section = section_at(folder, record.places[begin])
        rows = file.levels(section, section + end - begin)
        levels = np.repeat(np.arange(begin, end) + record.first, record.sizes[begin:end])
        if group.end - group.begin < group.partitions:
            homes = homes_of(rows, file.width, group.partitions)
            own = (homes >= group.begin) & (homes < group.end)
            rows, levels = rows.reshape(-1, file.width)[own].reshape(-1), levels[own]
        yield rows, levels
        begin = end


def homes_of(rows: Words, width: int, partitions: int) -> NDArray[np.uint8]:
    """The partition of each row."""
    homes = np.empty(rows.size // width, np.uint8)
    kernels.homes_of(rows, width, partitions, homes)
    return homes
