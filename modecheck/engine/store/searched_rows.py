"""Files of rows in which single rows are looked up."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.row_files import SECTION, RowFile
from modecheck.engine.store.row_kernels import BLOCK, unpack_rows
from modecheck.engine.store.searching_kernels import NOWHERE, find_last_words

Row = tuple[int, ...]


class SearchedRows(RowFile):
    """See `RowFile`. Rows are in the order of tuples of their words."""

    @property
    def counts(self) -> list[int]:
        """How many rows each section has."""
        counts: list[int] = self._sections[::SECTION].tolist()
        return counts

    def row(self, section: int, place: int) -> Row:
        """The words of a row."""
        words: list[int] = self.some(section, place, place + 1).tolist()
        return tuple(words)

    def place_of(self, section: int, row: Row) -> int:
        """The first place with a row that is not before a given one, which may be the beginning of
        one.
        """
        _, first, end = self._section(section)
        low, high = first, end
        while low < high:
            middle = (low + high) // 2
            leading = self._leading[middle * self.width : (middle + 1) * self.width]
            if tuple(leading.tolist()) < row:
                low = middle + 1
            else:
                high = middle
        if low == first:
            return 0
        before = low - 1 - first
        inside = sum(1 for one in self._block(section, before) if one < row)
        return before * BLOCK + inside

    def between(self, section: int, low: Row | None, high: Row | None) -> Words:
        """The rows of a section from one on, up to another one; None is no bound."""
        begin = 0 if low is None else self.place_of(section, low)
        end = self.count(section) if high is None else self.place_of(section, high)
        return self.some(section, begin, end)

    def some(self, section: int, begin: int, end: int) -> Words:
        """The rows of a section from place `begin` to place `end`."""
        if begin >= end:
            return np.empty(0, np.uint64)
        _, first, _ = self._section(section)
        rows = np.empty((end - begin // BLOCK * BLOCK) * self.width, np.uint64)
        for start in range(begin // BLOCK * BLOCK, end, BLOCK):
            size, at = min(BLOCK, end - start), start - begin // BLOCK * BLOCK
            offset = int(self._offsets[first + start // BLOCK])
            unpack_rows(self._packed, offset, self.width, size, rows, at)
        return rows[begin % BLOCK * self.width :]

    def last_words(self, rows: Words) -> np.ndarray[tuple[int], np.dtype[np.uint32]]:
        """Of each of some sorted rows, which have one word less, the last word of the first
        section's row that begins with it, or `NOWHERE`.
        """
        words = self.width - 1
        found = np.full(rows.size // words, NOWHERE, np.uint32)
        count, _, end = self._section(0)
        find_last_words(
            rows, words, found.size, self._packed, self._offsets[:end],
            self._leading[: end * self.width], count, np.empty(BLOCK * self.width, np.uint64),
            found,
        )  # fmt: skip
        return found

    def leading_rows(self, section: int) -> tuple[Words, list[int]]:
        """The row that each block of a section begins with, and how many rows it has."""
        count, first, end = self._section(section)
        sizes = [min(BLOCK, count - begin) for begin in range(0, count, BLOCK)]
        return self._leading[first * self.width : end * self.width], sizes

    def _section(self, section: int) -> tuple[int, int, int]:
        """How many rows it has, its first block, and the end of its last one."""
        count, first, end = self._sections[SECTION * section : SECTION * (section + 1)].tolist()
        return count, first, end

    def _block(self, section: int, number: int) -> list[Row]:
        begin = number * BLOCK
        rows = self.some(section, begin, min(begin + BLOCK, self.count(section)))
        return [tuple(row) for row in rows.reshape(-1, self.width).tolist()]


@lru_cache(maxsize=256)
def opened_rows(path: str) -> SearchedRows:
    """A file of rows, whose checksum is computed once in a process."""
    return SearchedRows(Path(path))
