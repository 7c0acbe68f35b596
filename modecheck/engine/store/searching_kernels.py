"""Rows looked up in packed rows that say more of them, and distinct ones numbered: inner loops."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U32s, U64s
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U32
from modecheck.engine.native.table_kernels import hash_of
from modecheck.engine.store.row_kernels import BLOCK, unpack_blocks

NOWHERE = np.uint32(0xFFFFFFFF)
"""Stands for the place of a row that is not there."""


@Kernel
def order_at(one: U64s, first: int, other: U64s, second: int, words: int) -> Any:
    """-1, 0 or 1 as some words, from `first` on, come before others, are the same, or come after
    them.
    """
    for offset in range(words):
        left, right = one[first + offset], other[second + offset]
        if left != right:
            return -1 if left < right else 1
    return 0


@Kernel
def find_last_words(
    rows: U64s,
    shape: tuple[int, ...],
    packed: U8s,
    offsets: I64s,
    leading: U64s,
    length: int,
    block: U64s,
    found: U32s,
) -> None:
    """Of each of some sorted rows the last word of the packed row, of `length` that have one word
    more, that begins with it; `shape` is as long as these. `offsets` says where each block begins,
    `leading` which row it begins with; `block` has room for the rows of one. Only blocks in which
    one of the rows could be are unpacked, and for rows that are not there nothing is written.
    """
    wide, words, count = len(shape), len(shape) - 1, found.size
    row = np.int64(0)
    for number in range(offsets.size):
        if row == count:
            break
        after = (number + 1) * wide
        if number + 1 < offsets.size and order_at(rows, row * words, leading, after, words) >= 0:
            continue
        size = min(BLOCK, length - number * BLOCK)
        unpack_blocks(packed, offsets[number], shape, block, 0, size)
        place = np.int64(0)
        while place < size and row < count:
            order = order_at(rows, row * words, block, place * wide, words)
            if order == 0:
                found[row] = np.uint32(block[place * wide + words])
            if order <= 0:
                row += 1
            if order > 0:
                place += 1


@Kernel
def number_rows(
    rows: U64s, count: int, words: int, table: U32s, known: U64s, size: int, numbers: U32s
) -> Any:
    """Number distinct rows as they come: those that `known` has are the first `size` ones, others
    are added there. `table` takes each number, plus one. How many there are then; -1 when less than
    half of the table would be left.
    """
    places = np.uint64(table.size)
    for row in range(count):
        place: Any = np.int64((hash_of(rows, row * words, words) >> U32) * places >> U32)
        while table[place] != 0:
            if order_at(known, (np.int64(table[place]) - 1) * words, rows, row * words, words) == 0:
                break
            place = place + 1 if place + 1 < table.size else 0
        if table[place] == 0:
            for offset in range(words):
                known[size * words + offset] = rows[row * words + offset]
            size += 1
            table[place] = np.uint32(size)
        numbers[row] = table[place] - np.uint32(1)
    return size
