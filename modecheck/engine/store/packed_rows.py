"""Sorted rows in few bytes: what is packed once, and then only read, compared and merged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.row_kernels import (
    ABREAST,
    BLOCK,
    LONGEST,
    block_of,
    flag_known,
    keep_distinct,
    keep_unflagged,
    merge_packed,
    order_of,
    pack_blocks,
    rows_before,
    unpack_blocks,
)
from modecheck.engine.store.sorting_kernels import DIGITS, sort_rows

TOGETHER = BLOCK << 7
"""Rows that are packed at once."""

Bytes = NDArray[np.uint8]


def shape_of(width: int) -> tuple[int, ...]:
    """A tuple as long as rows are wide: kernels are compiled for each length."""
    return (0,) * width


def distinct(rows: Words, width: int) -> Words:
    """The rows, sorted and each once. `rows` is flat, and may be overwritten."""
    if width == 1:
        rows.sort()
    else:
        spare = np.empty_like(rows)
        if sort_rows(rows, spare, shape_of(width), np.empty(DIGITS, np.int64)):
            rows = spare
    return rows[: keep_distinct(rows, width, rows.size // width) * width]


def unflagged(rows: Words, width: int, flags: Bytes) -> Words:
    """The rows without a flag. `rows` is overwritten."""
    return rows[: keep_unflagged(rows, width, flags) * width]


@dataclass(frozen=True, slots=True)
class PackedRows:
    """So many sorted, distinct rows, packed block by block: where each block begins among the
    bytes, and which row it begins with.
    """

    width: int
    count: int
    offsets: NDArray[np.int64]
    leading: Words
    packed: Bytes

    def rows(self) -> Words:
        """All rows, unpacked."""
        return self.part(0, self.offsets.size)

    def part(self, begin: int, end: int) -> Words:
        """The rows of the blocks from `begin` to `end`."""
        rows = np.empty(
            max(min(end * BLOCK, self.count) - begin * BLOCK, 0) * self.width, np.uint64
        )
        self.unpack(begin, rows)
        return rows

    def unpack(self, block: int, rows: Words) -> None:
        """Fill an array with the rows from the beginning of a block on."""
        if rows.size:
            shape, count = shape_of(self.width), rows.size // self.width
            unpack_blocks(self.packed, int(self.offsets[block]), shape, rows, 0, count)

    def parts(self, most: int) -> Iterator[Words]:
        """All rows, at most so many at a time, rounded up to whole blocks."""
        step = -(-most // BLOCK)
        for begin in range(0, self.offsets.size, step):
            yield self.part(begin, min(begin + step, self.offsets.size))

    def between(self, begin: int, end: int) -> Words:
        """The rows from one number to another."""
        first = begin // BLOCK
        rows = self.part(first, -(-end // BLOCK))
        return rows[(begin - first * BLOCK) * self.width : (end - first * BLOCK) * self.width]

    def place_of(self, row: Words) -> int:
        """How many rows come before one."""
        if not self.count or order_of(row, 0, self.leading, 0, self.width) <= 0:
            return 0
        block = int(block_of(row, 0, self.leading, self.width, 0))
        rows = self.part(block, block + 1)
        return block * BLOCK + int(rows_before(rows, row, self.width))

    def flag(self, rows: Words, known: Bytes) -> None:
        """Flag in `known` which of some sorted rows are among these."""
        if self.count and rows.size:
            room = np.empty(BLOCK * self.width + ABREAST, np.uint64)
            flag_known(
                rows, shape_of(self.width), self.packed, self.offsets, self.leading, self.count,
                room, known,
            )  # fmt: skip

    def merged(self, other: PackedRows) -> PackedRows:
        """The rows of both, which have none in common."""
        width, count = self.width, self.count + other.count
        blocks = -(-count // BLOCK)
        # Differences get smaller when rows come between; only where a block begins, one gets whole.
        whole = (blocks + 2) * width * LONGEST
        packed = np.empty(self.packed.size + other.packed.size + whole, np.uint8)
        offsets, leading = np.empty(blocks, np.int64), np.empty(blocks * width, np.uint64)
        size = merge_packed(
            self.packed, self.count, other.packed, other.count, shape_of(width), packed, offsets,
            leading, np.empty(3 * width, np.uint64),
        )  # fmt: skip
        return PackedRows(width, count, offsets, leading, packed[:size])


class Packer:
    """Packs rows that come some at a time, each behind those before."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._count = self._size = 0
        self._offsets: list[NDArray[np.int64]] = []
        self._leading: list[Words] = []
        self._packed: list[Bytes] = []
        self._rest = np.empty(0, np.uint64)

    def add(self, rows: Words) -> None:
        """Pack some rows, up to the last whole block."""
        if self._rest.size:
            rows = np.concatenate([self._rest, rows])
        whole = rows.size // (BLOCK * self._width) * (BLOCK * self._width)
        self._pack(rows[:whole])
        self._rest = rows[whole:].copy()

    def finished(self) -> PackedRows:
        """All of them."""
        self._pack(self._rest)
        packed = (
            _joined(self._offsets, np.int64),
            _joined(self._leading, np.uint64),
            _joined(self._packed, np.uint8),
        )
        return PackedRows(self._width, self._count, *packed)

    def _pack(self, rows: Words) -> None:
        width = self._width
        room = np.empty(min(TOGETHER * width, rows.size) * LONGEST, np.uint8)
        for begin in range(0, rows.size, TOGETHER * width):
            part = rows[begin : begin + TOGETHER * width]
            offsets = np.empty(-(-part.size // (BLOCK * width)), np.int64)
            used = int(pack_blocks(part, shape_of(width), room, offsets, 0, self._size))
            self._offsets.append(offsets)
            self._leading.append(part.reshape(-1, width)[::BLOCK].reshape(-1))
            self._packed.append(room[:used].copy())
            self._size += used
        self._count += rows.size // width


def pack(rows: Words, width: int) -> PackedRows:
    """Pack some sorted, distinct rows."""
    packer = Packer(width)
    packer.add(rows)
    return packer.finished()


def _joined(parts: list[NDArray[Any]], kind: type) -> NDArray[Any]:
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.empty(0, kind)
