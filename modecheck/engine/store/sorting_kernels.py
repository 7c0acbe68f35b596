"""Sorting rows of words: by their first word, then by the next."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U64s
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0
from modecheck.engine.store.row_kernels import order_of

FEW = 32
"""Rows that are sorted sooner one after the other than by digits."""
DIGIT = 8
"""Bits by which rows are sorted at a time."""
DIGITS = 1 << DIGIT
LAST_DIGIT = np.uint64(DIGITS - 1)


@Kernel
def sort_few(rows: U64s, shape: tuple[int, ...], row: U64s) -> None:
    """Sort rows, of which there are few, one after the other. `row` has room for one."""
    words = len(shape)
    for number in range(1, rows.size // words):
        for offset in range(words):
            row[offset] = rows[number * words + offset]
        place = number
        while place > 0 and order_of(row, 0, rows, place - 1, words) < 0:
            for offset in range(words):
                rows[place * words + offset] = rows[(place - 1) * words + offset]
            place -= 1
        for offset in range(words):
            rows[place * words + offset] = row[offset]


@Kernel
def sort_rows(rows: U64s, spare: U64s, shape: tuple[int, ...], counts: I64s) -> Any:
    """Sort rows by one digit after the other, those that are the same in all rows left out; whether
    they are in `spare` now. `counts` has room for each value of a digit.
    """
    words, count, is_spare = len(shape), rows.size // len(shape), False
    for behind in range(words):
        word = words - 1 - behind
        varied = U0
        for row in range(count):
            varied |= rows[row * words + word] ^ rows[word]
        for low in range(0, 64, DIGIT):
            shift = np.uint64(low)
            if (varied >> shift) & LAST_DIGIT == U0:
                continue
            for digit in range(DIGITS):
                counts[digit] = 0
            for row in range(count):
                counts[np.int64((rows[row * words + word] >> shift) & LAST_DIGIT)] += 1
            total = np.int64(0)
            for digit in range(DIGITS):
                size = counts[digit]
                counts[digit] = total
                total += size
            for row in range(count):
                own = np.int64((rows[row * words + word] >> shift) & LAST_DIGIT)
                place = counts[own]
                counts[own] = place + 1
                for offset in range(words):
                    spare[place * words + offset] = rows[row * words + offset]
            rows, spare = spare, rows
            is_spare = not is_spare
    return is_spare


@Kernel
def sort_levels(
    rows: U64s, spare: U64s, shape: tuple[int, ...], ends: I64s, counts: I64s, row: U64s
) -> None:
    """Sort each of some levels, which end at `ends`; see `sort_rows` and `sort_few`."""
    words, begin = len(shape), np.int64(0)
    for number in range(ends.size):
        end = ends[number]
        level = rows[begin * words : end * words]
        if end - begin <= FEW:
            sort_few(level, shape, row)
        elif sort_rows(level, spare, shape, counts):
            for place in range((end - begin) * words):
                level[place] = spare[place]
        begin = end
