"""The numbers of a store's states, as in memory: by depth, then by words.

All states are divided into ranges by their words, so that in each level the states of a range have
numbers one after the other. Each range has a file with its states level by level, in the order of
their numbers, and one that tells where each of its states is there.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.checked_files import DamagedFileError, checked_region, write_checked
from modecheck.engine.store.journal import Finished
from modecheck.engine.store.merging import packed_at
from modecheck.engine.store.packed_rows import distinct
from modecheck.engine.store.row_files import write_rows
from modecheck.engine.store.row_kernels import BLOCK
from modecheck.engine.store.searched_rows import Row, last_words
from modecheck.engine.store.searching_kernels import NOWHERE
from modecheck.engine.store.tasks import machine_of, opened

PATHS = "paths"
"""The folder, in that of a variant, of all that is made for questions about paths."""
MAGIC, HEADER = int.from_bytes(b"count v1", "little"), 4
Counts = NDArray[np.int64]
Numbers = NDArray[np.uint32]


@dataclass(frozen=True, slots=True)
class Ranges:
    """Where all but the first range begin. `name` stands for that, so that files of other ranges
    are not taken for these.
    """

    name: str
    begins: tuple[Row, ...]

    def __len__(self) -> int:
        return len(self.begins) + 1

    def bounds(self, number: int) -> tuple[Row | None, Row | None]:
        """Where a range begins and ends."""
        every = (None, *self.begins, None)
        return every[number], every[number + 1]

    def range_of(self, row: Row) -> int:
        """The range of a row."""
        return sum(1 for begin in self.begins if begin <= row)

    def parts(self, rows: Words, width: int) -> Iterator[tuple[int, int, int]]:
        """Where some sorted rows begin and end that belong to a range, and which one that is."""
        count = rows.size // width

        def place(begin: Row) -> int:
            low, high = 0, count
            while low < high:
                middle = (low + high) // 2
                if tuple(rows[middle * width : (middle + 1) * width].tolist()) < begin:
                    low = middle + 1
                else:
                    high = middle
            return low

        ends = [0, *map(place, self.begins), count]
        yield from ((a, b, number) for number, (a, b) in enumerate(pairwise(ends)) if a < b)

    def path(self, folder: str, what: str, number: int) -> str:
        """The file of a range."""
        return f"{folder}/{PATHS}/{self.name}-{what}-{number:03}"


def in_order(folder: str, ranges: Ranges, number: int, records: Sequence[Finished]) -> list[int]:
    """Have the two files of a range; how many of its states each level has."""
    ordered, places = (ranges.path(folder, what, number) for what in ("ordered", "places"))
    try:
        opened(places)
        file = opened(ordered)
        return [file.count(section) for section in range(file.sections)]
    except DamagedFileError:
        pass
    width = machine_of(folder).layout.words
    levels = [
        _level(folder, record, level, ranges.bounds(number), width)
        for record in records
        for level in range(record.first, record.end)
    ]
    write_rows(Path(ordered), width, levels, durable=False)
    rows = np.concatenate(levels).reshape(-1, width)
    order = np.argsort(rows[:, 0], kind="stable") if width == 1 else np.lexsort(rows.T[::-1])
    told = np.empty((len(rows), width + 1), np.uint64)
    told[:, :width], told[:, width] = rows[order], order
    write_rows(Path(places), width + 1, [told.reshape(-1)], durable=False)
    return [level.size // width for level in levels]


def _level(
    folder: str, record: Finished, level: int, bounds: tuple[Row | None, Row | None], width: int
) -> Words:
    """The states of a level within some bounds, in order."""
    given = [record.places[level - record.first]] if record.is_span else record.places
    parts = []
    for place in filter(None, given):
        rows = packed_at(folder, place)
        low, high = (None if row is None else np.array(row, np.uint64) for row in bounds)
        begin = 0 if low is None else rows.place_of(low)
        parts.append(rows.between(begin, rows.count if high is None else rows.place_of(high)))
    return parts[0] if len(parts) == 1 else distinct(np.concatenate(parts), width)


@dataclass(frozen=True)
class Numbering:
    """`counts[r, d]` is how many states of range `r` level `d` has."""

    ranges: Ranges
    counts: Counts

    @property
    def levels(self) -> int:
        return int(self.counts.shape[1])

    @cached_property
    def first_of(self) -> list[int]:
        """The number of the first state of each level, and of all that there are."""
        return list(accumulate(self.counts.sum(axis=0).tolist(), initial=0))

    @cached_property
    def begins(self) -> Counts:
        """The number of the first state of each range in each level."""
        before = np.cumsum(self.counts, axis=0) - self.counts
        begins: Counts = before + np.array(self.first_of[:-1], np.int64)
        return begins

    @cached_property
    def _places(self) -> Counts:
        """Where each level begins among the states of a range."""
        places: Counts = np.cumsum(self.counts, axis=1) - self.counts
        return places

    def level_of(self, number: int) -> int:
        """The level of a state."""
        return int(np.searchsorted(self.first_of, number, side="right")) - 1

    def place_of(self, number: int) -> tuple[int, int, int]:
        """The range, the level and the place there of a state."""
        level = self.level_of(number)
        begins = self.begins[:, level] + self.counts[:, level]
        own = int(np.searchsorted(begins, number, side="right"))
        return own, level, number - int(self.begins[own, level])

    def words_of(self, folder: str, number: int) -> Row:
        """The words of a state."""
        own, level, place = self.place_of(number)
        rows = opened(self.ranges.path(folder, "ordered", own)).section(level)
        words: list[int] = rows.between(place, place + 1).tolist()
        return tuple(words)

    def number_of(self, folder: str, row: Row) -> int:
        """The number of a state."""
        numbers = self.numbers_of(folder, np.array(row, np.uint64), len(row))
        return int(numbers[0])

    def numbers_of(self, folder: str, rows: Words, width: int) -> Numbers:
        """The numbers of states, whose words are sorted. Raises `DamagedFileError` if one of them
        is no state.
        """
        numbers = np.empty(rows.size // width, np.uint32)
        for begin, end, own in self.ranges.parts(rows, width):
            file = opened(self.ranges.path(folder, "places", own))
            found = last_words(file.section(0), rows[begin * width : end * width])
            if (found == NOWHERE).any():
                raise DamagedFileError(file.path, "a state is missing")
            levels = np.searchsorted(self._places[own], found, side="right") - 1
            # A level without states begins where the next one does, and is not meant.
            shifts = self.begins[own, levels] - self._places[own, levels]
            numbers[begin:end] = found + shifts
        return numbers

    def write(self, folder: str) -> None:
        """Write it down for all processes."""
        header = np.array([MAGIC, *self.counts.shape, len(self.ranges.begins)], np.uint64)
        begins = np.array(self.ranges.begins, np.uint64)
        path = Path(self.ranges.path(folder, "counts", 0))
        write_checked(path, [header, self.counts, begins], durable=False)


@lru_cache(maxsize=4)
def numbering_of(folder: str, name: str) -> Numbering:
    """The numbering that was written down."""
    path = Path(Ranges(name, ()).path(folder, "counts", 0))
    region: Any = checked_region(path, MAGIC, HEADER)
    _, count, levels, _ = np.frombuffer(region, np.uint64, HEADER).tolist()
    counts = np.frombuffer(region, np.int64, count * levels, 8 * HEADER).reshape(count, levels)
    at = 8 * (HEADER + count * levels)
    words = np.frombuffer(region, np.uint64, (len(region) - at) // 8, at)
    begins = words.reshape(count - 1, -1) if count > 1 else words[:0].reshape(0, 1)
    return Numbering(Ranges(name, tuple(map(tuple, begins.tolist()))), counts)


def named(begins: Words, width: int) -> Ranges:
    """The ranges of which all but the first begin with some rows."""
    rows = begins.reshape(-1, width).tolist()
    return Ranges(f"{zlib.crc32(begins.tobytes()):08x}", tuple(map(tuple, rows)))


def rows_between_ranges(folder: str, records: Sequence[Finished], width: int, count: int) -> Words:
    """The rows that all but the first of so many ranges, at the most, begin with, so that they have
    about as many states each, as far as the rows tell that blocks begin with.
    """
    if count == 1:
        return np.empty(0, np.uint64)
    leading, sizes = [], []
    for place in (place for record in records for place in record.places if place):
        packed = packed_at(folder, place)
        leading.append(packed.leading)
        sizes += [min(BLOCK, packed.count - begin) for begin in range(0, packed.count, BLOCK)]
    every = np.concatenate(leading).reshape(-1, width)
    order = np.lexsort(every.T[::-1])
    before = np.cumsum(np.array(sizes, np.int64)[order])
    wanted = [int(before[-1]) * number // count for number in range(1, count)]
    chosen = every[order[np.searchsorted(before, wanted)]]
    return distinct(np.ascontiguousarray(chosen).reshape(-1), width)
