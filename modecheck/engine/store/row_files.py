"""Files of packed rows, with a checksum.

A file has sections, each of sorted, distinct rows: the levels of a span, or the partitions of what
was reached. Its parts are a header, the table of sections, the tables of blocks, and the packed
rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.checked_files import checked_region, write_checked
from modecheck.engine.store.packed_rows import Bytes, PackedRows, pack, shape_of
from modecheck.engine.store.row_kernels import (
    BLOCK,
    LONGEST,
    pack_levels,
    unpack_levels,
)
from modecheck.engine.store.sorting_kernels import DIGITS, sort_levels

MAGIC = int.from_bytes(b"rows v2\n", "little")
HEADER, SECTION = 5, 3
"""Words of the header (magic, words of a row, sections, blocks, bytes of packed rows), and of what
is said of a section (rows, where its blocks end among those of all sections, and its bytes)."""


def write_rows(path: Path, width: int, sections: Sequence[Words], *, durable: bool = True) -> int:
    """Write sections of sorted, distinct rows; how many bytes they take. A file that is `durable`
    is on the disk before it has its name.
    """
    return write_packed(path, width, [pack(rows, width) for rows in sections], durable=durable)


def write_packed(
    path: Path, width: int, sections: Sequence[PackedRows], *, durable: bool = True
) -> int:
    """The same of sections that are packed."""
    blocks = np.cumsum([one.offsets.size for one in sections])
    ends = np.cumsum([one.packed.size for one in sections])
    table = np.array([[one.count for one in sections], blocks, ends], np.int64).T
    parts = (
        [one.offsets for one in sections],
        [one.leading for one in sections],
        [one.packed for one in sections],
    )
    return _write(path, width, table, parts, durable=durable)


def write_levels(path: Path, width: int, rows: Words, ends: NDArray[np.int64]) -> int:
    """Sort and write levels, which end at these rows, each as a section; how many bytes they take.
    `rows` is overwritten.
    """
    sizes = np.diff(ends, prepend=0)
    blocks = int((-(-sizes // BLOCK)).sum())
    table = np.empty((ends.size, SECTION), np.int64)
    offsets, leading = np.empty(blocks, np.int64), np.empty(blocks * width, np.uint64)
    spare, packed = np.empty(rows.size, np.uint64), np.empty(rows.size * LONGEST, np.uint8)
    sort_levels(
        rows, spare, shape_of(width), ends, np.empty(DIGITS, np.int64), np.empty(width, np.uint64)
    )
    size = pack_levels(rows, shape_of(width), ends, packed, offsets, leading, table)
    return _write(path, width, table, ([offsets], [leading], [packed[:size]]), durable=True)


def _write(
    path: Path,
    width: int,
    table: NDArray[np.int64],
    parts: Sequence[Sequence[NDArray[Any]]],
    *,
    durable: bool,
) -> int:
    blocks, size = table[-1, 1:].tolist()
    header = np.array([MAGIC, width, len(table), blocks, size], np.uint64)
    return write_checked(path, [header, table, *chain(*parts)], durable=durable)


class RowFile:
    """A file of rows, looked at where it lies. Raises `DamagedFileError`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._region = checked_region(path, MAGIC, HEADER)
        words: Any = np.frombuffer(self._region, np.uint64, HEADER)
        self.width, sections, blocks, size = (int(word) for word in words[1:])
        at = 8 * HEADER
        self._table = np.frombuffer(self._region, np.int64, SECTION * sections, at)
        at += 8 * SECTION * sections
        self._offsets = np.frombuffer(self._region, np.int64, blocks, at)
        at += 8 * blocks
        self._leading = np.frombuffer(self._region, np.uint64, blocks * self.width, at)
        at += 8 * blocks * self.width
        self._packed = np.frombuffer(self._region, np.uint8, size, at)

    @property
    def sections(self) -> int:
        return self._table.size // SECTION

    def section(self, number: int) -> PackedRows:
        """The rows of a section, packed."""
        count, end, last = self._table[SECTION * number : SECTION * (number + 1)].tolist()
        begin = first = 0
        if number:
            _, begin, first = self._table[SECTION * (number - 1) : SECTION * number].tolist()
        return PackedRows(
            self.width,
            count,
            self._offsets[begin:end],
            self._leading[begin * self.width : end * self.width],
            self._packed[first:last],
        )

    def levels(self, begin: int, end: int) -> Words:
        """The rows of the sections from `begin` to `end`, one section behind the other."""
        table = self._table.reshape(-1, SECTION)
        first = int(table[begin - 1, 2]) if begin else 0
        own = table[begin:end] - np.array([0, 0, first])
        rows = np.empty(int(own[:, 0].sum()) * self.width, np.uint64)
        unpack_levels(self._packed[first:], shape_of(self.width), own.reshape(-1), rows)
        return rows

    def count(self, section: int) -> int:
        """Rows of a section."""
        return int(self._table[SECTION * section])

    def rows(self, section: int = 0) -> Words:
        """All rows of a section."""
        return self.section(section).rows()

    def parts(self, section: int, most: int) -> Iterator[Words]:
        """The rows of a section, at most so many at a time, rounded up to whole blocks."""
        return self.section(section).parts(most)

    def flag(self, rows: Words, known: Bytes, section: int = 0) -> None:
        """Flag in `known` which of some sorted rows are in a section."""
        self.section(section).flag(rows, known)


def split(rows: Words, width: int, homes: NDArray[np.uint8], partitions: int) -> list[Words]:
    """Sorted rows by the partition that each belongs to, still sorted."""
    order = np.argsort(homes, kind="stable")
    ends = np.cumsum(np.bincount(homes, minlength=partitions))
    taken = rows.reshape(-1, width)[order].reshape(-1)
    return [taken[a * width : b * width] for a, b in pairwise([0, *ends.tolist()])]
