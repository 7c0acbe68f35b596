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

from modecheck.engine.language.annotations import I64Rows, I64s, U8s, U64s
from modecheck.engine.language.intrinsics import word_at
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0, U1

BLOCK = 512
"""Rows of a block: few enough that looking for one row unpacks little."""
LONGEST = 10
"""Bytes of a packed word at the most."""
SEVEN, MORE = np.uint64(7), np.uint64(128)
LOW_BITS = MORE - U1
EIGHT = 8
"""Rows of one byte that are passed over together."""
ALL_MORE = np.uint64(0x8080808080808080)
EVERY_OTHER, EACH = np.uint64(0x00FF00FF00FF00FF), np.uint64(0x0001000100010001)
BYTE, TOP = np.uint64(8), np.uint64(48)
ABREAST, DENSE = 16, 20
"""One-word rows that are compared at once with one that is looked up, which pays where there are no
more than so many to each of these."""
BEHIND = ~U0


@Kernel
def put_packed(
    rows: U64s,
    row: int,
    before: U64s,
    last: int,
    shape: tuple[int, ...],
    packed: U8s,
    at: int,
    whole: bool,
) -> Any:
    """Pack a row at byte `at`, as what has changed since row `last` of `before` unless it is to
    stand `whole`; where the next begins.
    """
    words = len(shape)
    for offset in range(words):
        value = rows[row * words + offset]
        if not whole:
            value -= before[last * words + offset]
            whole = value != U0
        while value >= MORE:
            packed[at] = np.uint8(value & LOW_BITS | MORE)
            value >>= SEVEN
            at += 1
        packed[at] = np.uint8(value)
        at += 1
    return at


@Kernel
def advance(
    packed: U8s, at: int, shape: tuple[int, ...], rows: U64s, row: int, last: int, whole: bool
) -> Any:
    """Unpack the row at byte `at` to `row`, where `last` is the one before it; where the next
    begins.
    """
    words = len(shape)
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
            value += rows[last * words + offset]
        rows[row * words + offset] = value
    return at


@Kernel
def pack_blocks(
    rows: U64s, shape: tuple[int, ...], packed: U8s, offsets: I64s, first: int, base: int
) -> Any:
    """Pack rows block by block; how many bytes they take. `offsets`, from `first` on, takes where
    each begins, counted from `base` on.
    """
    at = np.int64(0)
    block = first
    for row in range(rows.size // len(shape)):
        begins = row % BLOCK == 0
        if begins:
            offsets[block] = base + at
            block += 1
        at = put_packed(rows, row, rows, row - 1, shape, packed, at, begins)
    return at


@Kernel
def unpack_blocks(
    packed: U8s, at: int, shape: tuple[int, ...], rows: U64s, first: int, count: int
) -> None:
    """Unpack `count` rows, of which the first begins a block at byte `at`, to `rows`, from row
    `first` on.
    """
    for row in range(count):
        at = advance(packed, at, shape, rows, first + row, first + row - 1, row % BLOCK == 0)


@Kernel
def order_of(one: U64s, first: int, other: U64s, second: int, words: int) -> Any:
    """-1, 0 or 1 as a row comes before another, is the same, or comes after it."""
    for offset in range(words):
        left, right = one[first * words + offset], other[second * words + offset]
        if left != right:
            return -1 if left < right else 1
    return 0


@Kernel
def block_of(rows: U64s, row: int, leading: U64s, words: int, begin: Any) -> Any:
    """The last block from `begin` on that does not begin behind a row; that of `begin` does not."""
    blocks, step = leading.size // words, np.int64(1)
    while begin + step < blocks and order_of(rows, row, leading, begin + step, words) >= 0:
        begin += step
        step *= 2
    while step > 1:
        step //= 2
        if begin + step < blocks and order_of(rows, row, leading, begin + step, words) >= 0:
            begin += step
    return begin


@Kernel
def rows_before(rows: U64s, row: U64s, words: int) -> Any:
    """How many of some sorted rows come before one."""
    count = np.int64(0)
    while count < rows.size // words and order_of(rows, count, row, 0, words) < 0:
        count += 1
    return count


@Kernel
def pass_over(packed: U8s, at: int, left: int, value: np.uint64, goal: np.uint64) -> Any:
    """Pass over one-word rows after `value` that come before `goal`, of which `left` are in the
    block, eight at a time, as far as that goes: the rows left, and the last one.
    """
    base = np.uint64(packed.ctypes.data)
    while left >= EIGHT:
        deltas = word_at(base + np.uint64(at))
        if deltas & ALL_MORE != U0:
            break
        pairs = (deltas & EVERY_OTHER) + ((deltas >> BYTE) & EVERY_OTHER)
        further = value + ((pairs * EACH) >> TOP)
        if further >= goal:
            break
        value = further
        at += EIGHT
        left -= EIGHT
    return left, value


@Kernel
def flag_in_block(
    rows: U64s,
    row: int,
    shape: tuple[int, ...],
    packed: U8s,
    at: int,
    size: int,
    last: U64s,
    known: U8s,
) -> Any:
    """Flag which rows from `row` on are in a block of so many rows at byte `at`; the first row that
    comes behind them all. `last` has room for one row.
    """
    words, count = len(shape), rows.size // len(shape)
    at = advance(packed, at, shape, last, 0, 0, True)
    left, singly = size - 1, 0
    while row < count:
        order = order_of(rows, row, last, 0, words)
        if order <= 0:
            if order == 0:
                known[row] = 1
            row += 1
            singly = 0
            continue
        if left == 0:
            break
        if words == 1 and singly == 0:
            rest, value = pass_over(packed, at, left, last[0], rows[row])
            at += left - rest
            left, last[0] = rest, value
            if left == 0:
                continue
        # The goal is near, or a row takes more bytes: before the next attempt some go one by one.
        singly = (singly + 1) % EIGHT
        at = advance(packed, at, shape, last, 0, 0, False)
        left -= 1
    return row


@Kernel
def flag_among(rows: U64s, row: int, block: U64s, size: int, known: U8s) -> Any:
    """Flag which one-word rows from `row` on are among the first `size` of a block, behind which
    there are `ABREAST` that are larger than all; the first row that comes behind them all.
    """
    place, last = np.int64(0), block[size - 1]
    while row < rows.size and rows[row] <= last:
        goal, less = rows[row], np.int64(ABREAST)
        while (
            less == ABREAST
        ):  # a loop that always runs to its end is done at once by the processor
            less = np.int64(0)
            for offset in range(ABREAST):
                if block[place + offset] < goal:
                    less += 1
            place += less
        if block[place] == goal:
            known[row] = 1
        row += 1
    return row


@Kernel
def flag_known(
    rows: U64s,
    shape: tuple[int, ...],
    packed: U8s,
    offsets: I64s,
    leading: U64s,
    length: int,
    unpacked: U64s,
    known: U8s,
) -> None:
    """Flag which of some sorted rows are among the `length` packed ones. `offsets` says where
    each block begins, `leading` which row it begins with; `unpacked` has room for a block, and for
    `ABREAST` rows more.

    Only blocks in which one of the rows could be are unpacked.
    """
    words, count = len(shape), rows.size // len(shape)
    row, block = np.int64(0), np.int64(0)
    while row < count and order_of(rows, row, leading, 0, words) < 0:
        row += 1
    while row < count and block < offsets.size:
        block = block_of(rows, row, leading, words, block)
        size = min(BLOCK, length - block * BLOCK)
        at = offsets[block]
        if words == 1 and count * DENSE > length:
            unpack_blocks(packed, at, shape, unpacked, 0, size)
            for place in range(size, size + ABREAST):
                unpacked[place] = BEHIND
            row = flag_among(rows, row, unpacked, size, known)
        else:
            row = flag_in_block(rows, row, shape, packed, at, size, unpacked, known)
        block += 1
        if block < offsets.size:
            while row < count and order_of(rows, row, leading, block, words) < 0:
                row += 1


@Kernel
def keep_unflagged(rows: U64s, words: int, flags: U8s) -> Any:
    """Move rows without a flag to the front; how many there are."""
    kept = np.int64(0)
    for row in range(flags.size):
        for offset in range(words):
            rows[kept * words + offset] = rows[row * words + offset]
        if flags[row] == 0:
            kept += 1
    return kept


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
def next_of(
    packed: U8s, at: int, row: int, count: int, shape: tuple[int, ...], last: U64s, place: int
) -> Any:
    """Unpack row number `row`, if there are so many, over the one before it; where the next one
    begins.
    """
    if row < count:
        return advance(packed, at, shape, last, place, place, row % BLOCK == 0)
    return at


@Kernel
def merge_packed(
    one: U8s,
    ones: int,
    other: U8s,
    others: int,
    shape: tuple[int, ...],
    packed: U8s,
    offsets: I64s,
    leading: U64s,
    last: U64s,
) -> Any:
    """Pack the rows of two packed arrays, which have none in common, as one; how many bytes they
    take. `last` has room for three rows: the next of each, and the one that was packed last.
    """
    words, at, first, second = len(shape), np.int64(0), np.int64(0), np.int64(0)
    here = np.int64(next_of(one, 0, 0, ones, shape, last, 0))
    there = np.int64(next_of(other, 0, 0, others, shape, last, 1))
    for row in range(ones + others):
        is_one = first < ones
        if is_one and second < others:
            is_one = order_of(last, 0, last, 1, words) < 0
        source = 0 if is_one else 1
        begins = row % BLOCK == 0
        if begins:
            block = row // BLOCK
            offsets[block] = at
            for offset in range(words):
                leading[block * words + offset] = last[source * words + offset]
        at = put_packed(last, source, last, 2, shape, packed, at, begins)
        for offset in range(words):
            last[2 * words + offset] = last[source * words + offset]
        if is_one:
            first += 1
            here = next_of(one, here, first, ones, shape, last, 0)
        else:
            second += 1
            there = next_of(other, there, second, others, shape, last, 1)
    return at


@Kernel
def pack_levels(
    rows: U64s,
    shape: tuple[int, ...],
    ends: I64s,
    packed: U8s,
    offsets: I64s,
    leading: U64s,
    table: I64Rows,
) -> Any:
    """Pack each of some levels for itself; how many bytes they take. A row of `table` takes how
    many rows a level has, and where its blocks and its bytes end; `offsets` and `leading` where
    each block begins among the bytes of its level, and with which row.
    """
    words, begin, block, at = len(shape), np.int64(0), np.int64(0), np.int64(0)
    for number in range(ends.size):
        end = ends[number]
        level = rows[begin * words : end * words]
        used = pack_blocks(level, shape, packed[at:], offsets, block, 0)
        for row in range(0, end - begin, BLOCK):
            for offset in range(words):
                leading[block * words + offset] = level[row * words + offset]
            block += 1
        at += used
        table[number, 0], table[number, 1], table[number, 2] = end - begin, block, at
        begin = end
    return at


@Kernel
def unpack_levels(packed: U8s, shape: tuple[int, ...], table: I64s, rows: U64s) -> None:
    """Unpack all levels of which `table` tells."""
    first, at = np.int64(0), np.int64(0)
    for number in range(table.size // 3):
        unpack_blocks(packed, at, shape, rows, first, table[3 * number])
        first += table[3 * number]
        at = table[3 * number + 2]
