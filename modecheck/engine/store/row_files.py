"""Files of sorted rows, with a checksum.

A file has sections, each of sorted, distinct rows: the levels of a span, or the partitions of what
was reached. Its parts are a header, the table of sections, the tables of blocks, and the packed
rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.checked_files import checked_region, write_checked
from modecheck.engine.store.row_kernels import (
    BLOCK,
    LONGEST,
    flag_known,
    keep_distinct,
    pack_blocks,
    unpack_blocks,
)

MAGIC = int.from_bytes(b"rows v1\n", "little")
HEADER, SECTION = 5, 3
"""Words of the header (magic, words of a row, sections, blocks, bytes of packed rows), and of what
is said of a section (rows, the number of its first block, the end of its last)."""
TOGETHER = BLOCK << 7
"""Rows that are packed at once."""

Bytes = NDArray[np.uint8]


def distinct(rows: Words, width: int) -> Words:
    """The rows, sorted and each once. `rows` is flat, and may be overwritten."""
    if width == 1:
        rows.sort()
    else:
        table = rows.reshape(-1, width)
        rows = table[np.lexsort(table.T[::-1])].reshape(-1)
    return rows[: keep_distinct(rows, width, rows.size // width) * width]


def write_rows(path: Path, width: int, sections: Sequence[Words], *, durable: bool = True) -> int:
    """Write sections of sorted, distinct rows; how many bytes they take. A file that is `durable`
    is on the disk before it has its name.
    """
    packed, offsets, leading, table = [], [], [], []
    position = first = 0
    for rows in sections:
        count = rows.size // width
        blocks = -(-count // BLOCK)
        begins = np.empty(blocks, np.int64)
        for begin in range(0, count, TOGETHER):
            end = min(begin + TOGETHER, count)
            room = np.empty((end - begin) * width * LONGEST, np.uint8)
            block = begin // BLOCK
            size = int(pack_blocks(rows, width, begin, end, room, begins, block, position))
            packed.append(room[:size].copy())
            position += size
        offsets.append(begins)
        leading.append(rows.reshape(-1, width)[::BLOCK])
        table.append((count, first, first + blocks))
        first += blocks
    header = np.array([MAGIC, width, len(table), first, position], np.uint64)
    parts: list[NDArray[Any]] = [header, np.array(table, np.int64), *offsets, *leading, *packed]
    return write_checked(path, parts, durable=durable)


class RowFile:
    """A file of rows, looked at where it lies. Raises `DamagedFileError`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._region = checked_region(path, MAGIC, HEADER)
        words: Any = np.frombuffer(self._region, np.uint64, HEADER)
        self.width, sections, blocks, size = (int(word) for word in words[1:])
        at = 8 * HEADER
        self._sections = np.frombuffer(self._region, np.int64, SECTION * sections, at)
        at += 8 * SECTION * sections
        self._offsets = np.frombuffer(self._region, np.int64, blocks, at)
        at += 8 * blocks
        self._leading = np.frombuffer(self._region, np.uint64, blocks * self.width, at)
        at += 8 * blocks * self.width
        self._packed = np.frombuffer(self._region, np.uint8, size, at)

    @property
    def sections(self) -> int:
        return self._sections.size // SECTION

    def count(self, section: int) -> int:
        """Rows of a section."""
        return int(self._sections[SECTION * section])

    def rows(self, section: int = 0) -> Words:
        """All rows of a section."""
        parts = list(self.parts(section, self.count(section) or 1))
        return parts[0] if parts else np.empty(0, np.uint64)

    def parts(self, section: int, most: int) -> Iterator[Words]:
        """The rows of a section, at most so many at a time, rounded up to whole blocks."""
        count, first, end = self._sections[SECTION * section : SECTION * (section + 1)].tolist()
        step = -(-most // BLOCK)
        for block in range(first, end, step):
            last = min(block + step, end)
            begin, until = (block - first) * BLOCK, min((last - first) * BLOCK, count)
            rows = np.empty((until - begin) * self.width, np.uint64)
            unpack_blocks(self._packed, self._offsets, block, self.width, until - begin, rows)
            yield rows

    def flag(self, rows: Words, known: Bytes, section: int = 0) -> None:
        """Flag in `known` which of some sorted rows are in a section."""
        count, first, end = self._sections[SECTION * section : SECTION * (section + 1)].tolist()
        if count == 0 or rows.size == 0:
            return
        width = self.width
        flag_known(
            rows,
            width,
            rows.size // width,
            self._packed,
            self._offsets[first:end],
            self._leading[first * width : end * width],
            count,
            np.empty(BLOCK * width, np.uint64),
            known,
        )


def split(rows: Words, width: int, homes: NDArray[np.uint8], partitions: int) -> list[Words]:
    """Sorted rows by the partition that each belongs to, still sorted."""
    order = np.argsort(homes, kind="stable")
    ends = np.cumsum(np.bincount(homes, minlength=partitions))
    taken = rows.reshape(-1, width)[order].reshape(-1)
    return [taken[a * width : b * width] for a, b in pairwise([0, *ends.tolist()])]
