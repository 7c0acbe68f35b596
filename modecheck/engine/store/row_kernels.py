"""Rows of words, sorted, in few bytes: packed, unpacked, and compared with other rows.

A row is the words of a state. Rows are sorted by their first word, then by the next. A packed row
says by how much the first word that differs has grown since the row before, after a zero for each
word that is the same, and then the other words whole; the first row of a block stands whole. All of
these are numbers of seven bits a byte, the lowest first, of which all bytes but the last have the
eighth bit (LEB128, as in DWARF 5, 7.6).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U64s
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0, U1

BLOCK = 512
"""Rows of a block: few enough that looking for one row unpacks little."""
LONGEST = 10
"""Bytes of a packed word at the most."""
SEVEN, MORE = np.uint64(7), np.uint64(128)
LOW_BITS = MORE - U1


@Kernel
def pack_rows(rows: U64s, words: int, begin: int, end: int, packed: U8s, start: int) -> Any:
    """Pack the rows from `begin` to `end` as one block, which starts at byte `start`; how many
    bytes it takes.
    """
    at = start
    for row in range(begin, end):
        whole = row == begin
        for offset in range(words):
            value = rows[row * words + offset]
            if not whole:
                value -= rows[(row - 1) * words + offset]
                whole = value != U0
            while value >= MORE:
                packed[at] = np.uint8(value & LOW_BITS | MORE)
                value >>= SEVEN
                at += 1
            packed[at] = np.uint8(value)
            at += 1
    return at - start


@Kernel
def unpack_rows(packed: U8s, at: int, words: int, count: int, rows: U64s, first: int) -> None:
    """Unpack the first `count` rows of the block at byte `at` to `rows`, from row `first` on."""
    for row in range(first, first + count):
        whole = row == first
        for offset in range(words):
            value, shift = U0, U0
            while packed[at] >= MORE:
                value |= (np.uint64(packed[at]) & LOW_BITS) << shift
                shift += SEVEN
                at += 1
            value |= np.uint64(packed[at]) << shift
            at += 1
            if not whole:
                whole = value != U0
                value += rows[(row - 1) * words + offset]
            rows[row * words + offset] = value


@Kernel
def pack_blocks(
    rows: U64s, words: int, begin: int, end: int, packed: U8s, offsets: I64s, block: int, base: int
) -> Any:
    """Pack the rows from `begin` to `end` block by block; how many bytes they take. `offsets`, from
    `block` on, takes where each begins, counted from `base` on.
    """
    at = np.int64(0)
    for first in range(begin, end, BLOCK):
        offsets[block] = base + at
        at += pack_rows(rows, words, first, min(first + BLOCK, end), packed, at)
        block += 1
    return at


@Kernel
def unpack_blocks(
    packed: U8s, offsets: I64s, block: int, words: int, count: int, rows: U64s
) -> None:
    """Unpack the first `count` rows of the blocks from `block` on."""
    for first in range(0, count, BLOCK):
        size = min(BLOCK, count - first)
        unpack_rows(packed, offsets[block], words, size, rows, first)
        block += 1


@Kernel
def order_of(one: U64s, first: int, other: U64s, second: int, words: int) -> Any:
    """-1, 0 or 1 as a row comes before another, is the same, or comes after it."""
    for offset in range(words):
        left, right = one[first * words + offset], other[second * words + offset]
        if left != right:
            return -1 if left < right else 1
    return 0


@Kernel
def flag_known(
    rows: U64s,
    words: int,
    count: int,
    packed: U8s,
    offsets: I64s,
    leading: U64s,
    length: int,
    block: U64s,
    known: U8s,
) -> None:
    """Flag which of `count` sorted rows are among the `length` packed ones. `offsets` says where
    each block begins, `leading` which row it begins with; `block` has room for the rows of one.

    Only blocks in which one of the rows could be are unpacked.
    """
    row = np.int64(0)
    for number in range(offsets.size):
        while row < count and order_of(rows, row, leading, number, words) < 0:
            row += 1
        if row == count:
            break
        if number + 1 < offsets.size and order_of(rows, row, leading, number + 1, words) >= 0:
            continue
        size = min(BLOCK, length - number * BLOCK)
        unpack_rows(packed, offsets[number], words, size, block, 0)
        place = np.int64(0)
        while place < size and row < count:
            order = order_of(rows, row, block, place, words)
            if order == 0:
                known[row] = 1
            if order <= 0:
                row += 1
            if order >= 0:
                place += 1


@Kernel
def keep_distinct(rows: U64s, words: int, count: int) -> Any:
    """Move distinct ones of sorted rows to the front; how many there are."""
    kept = np.int64(0)
    for row in range(count):
        if kept == 0 or order_of(rows, row, rows, kept - 1, words) != 0:
            for offset in range(words):
                rows[kept * words + offset] = rows[row * words + offset]
            kept += 1
    return kept


@Kernel
def merge_rows(one: U64s, other: U64s, words: int, both: U64s) -> None:
    """The rows of two sorted arrays, which have none in common, sorted."""
    first, second = np.int64(0), np.int64(0)
    firsts, seconds = one.size // words, other.size // words
    for place in range(firsts + seconds):
        left = first < firsts
        if left and second < seconds:
            left = order_of(one, first, other, second, words) < 0
        for offset in range(words):
            if left:
                both[place * words + offset] = one[first * words + offset]
            else:
                both[place * words + offset] = other[second * words + offset]
        if left:
            first += 1
        else:
            second += 1
