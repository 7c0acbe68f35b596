"""The inner loops of exploring into a store: what states lead to, and what is asked of each."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U32s, U64Rows, U64s
from modecheck.engine.language.intrinsics import call_marks, call_successors
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.exploring_kernels import SuccessorCode, note_failure, reached
from modecheck.engine.native.graph_kernels import DRIVEN_BIT
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    FAILURE_MASK,
    LOW,
    U0,
    U1,
    U8,
    U32,
)
from modecheck.engine.native.table_kernels import hash_of

NOT_EMPTY = U1
"""What is added to the first word of a row in a table, so that 0 is an empty place; words use 63
bits."""


@Kernel
def homes_of(rows: U64s, words: int, partitions: int, homes: U8s) -> None:
    """The partition of each row."""
    for row in range(homes.size):
        low = hash_of(rows, row * words, words) & LOW
        homes[row] = np.uint8((low * np.uint64(partitions)) >> U32)


@Kernel
def is_row(table: U64s, place: int, rows: U64s, row: int, words: int) -> Any:
    """Whether a place of a table holds this row."""
    if table[place * words] != rows[row * words] + NOT_EMPTY:
        return False
    for offset in range(1, words):
        if table[place * words + offset] != rows[row * words + offset]:
            return False
    return True


@Kernel
def put_row(table: U64s, place: int, rows: U64s, row: int, words: int) -> None:
    table[place * words] = rows[row * words] + NOT_EMPTY
    for offset in range(1, words):
        table[place * words + offset] = rows[row * words + offset]


@Kernel
def note_failures(
    failed: U64s,
    count: np.uint64,
    failures: U64Rows,
    states: U64s,
    first: int,
    words: int,
    level: np.uint64,
) -> None:
    """Count the failing steps of one state."""
    for number in range(count):
        label = failed[number]
        failure = np.int64((label >> FAILURE_BITS) & FAILURE_MASK)
        note_failure(
            failures, failure, label & LOW, np.uint64(first), np.uint64(words), states, level
        )


@Kernel
def spread(
    code: SuccessorCode,
    shape: tuple[int, ...],
    states: U64s,
    begin: int,
    end: int,
    recent: U64s,
    found: U64s,
    fills: I64s,
    waiting: U64s,
    most_records: int,
    failed: U64s,
    failures: U64Rows,
    level: np.uint64,
    counters: I64s,
) -> Any:
    """Put what the states from `begin` on lead to into `found`, until all up to `end` are expanded
    or there is no room for one more; where it stopped. Each partition has an equal part of `found`,
    in which `fills` rows are. `counters[1]` counts transitions.

    Rows that are in the table `recent`, of the last ones by their hash, are left out: most that
    occur twice occur soon again.
    """
    words = len(shape)
    wide, places = np.uint64(words), np.uint64(recent.size // words)
    partitions, room = np.uint64(fills.size), found.size // (words * fills.size)
    fullest, row = np.int64(0), begin
    for partition in range(fills.size):
        fullest = max(fullest, fills[partition])
    while row < end and fullest + most_records <= room:
        first = row * words
        result = reached(code, wide, states, np.uint64(first), waiting, U0, failed)
        if result >> U32 != U0:
            note_failures(failed, result >> U32, failures, states, first, words, level)
        made = np.int64(result & COUNT_MASK)
        counters[1] += made
        for number in range(made):
            low = hash_of(waiting, number * words, words) & LOW
            place = np.int64((low * places) >> U32)
            if not is_row(recent, place, waiting, number, words):
                put_row(recent, place, waiting, number, words)
                home = np.int64((low * partitions) >> U32)
                fill = fills[home]
                for offset in range(words):
                    found[(home * room + fill) * words + offset] = waiting[number * words + offset]
                fills[home] = fill + 1
                fullest = max(fullest, fill + 1)
        row += 1
    return row


@Kernel
def enter(table: U32s, states: U64s, row: int, words: int) -> Any:
    """Enter a row of `states` into a table of row numbers, plus one; whether it is new."""
    size = np.uint64(table.size)
    place: Any = np.int64((hash_of(states, row * words, words) >> U32) * size >> U32)
    while table[place] != 0:
        known = np.int64(table[place]) - 1
        same = True
        for offset in range(words):
            same &= states[known * words + offset] == states[row * words + offset]
        if same:
            return False
        place = place + 1 if place + 1 < table.size else 0
    table[place] = np.uint32(row + 1)
    return True


@Kernel
def enter_all(table: U32s, states: U64s, begin: int, end: int, words: int) -> None:
    """Enter rows that are known to be distinct."""
    for row in range(begin, end):
        enter(table, states, row, words)


@Kernel
def enter_new(table: U32s, states: U64s, filled: int, rows: U64s, words: int) -> Any:
    """Append rows to `filled` states, as far as they are new; how many there are then."""
    for row in range(rows.size // words):
        for offset in range(words):
            states[filled * words + offset] = rows[row * words + offset]
        if enter(table, states, filled, words):
            filled += 1
    return filled


@Kernel
def expand_alone(
    code: SuccessorCode,
    words: int,
    states: U64s,
    begin: int,
    filled: int,
    most: int,
    quota: int,
    few: int,
    table: U32s,
    most_records: int,
    failed: U64s,
    failures: U64Rows,
    level: int,
    ends: I64s,
    counters: I64s,
) -> Any:
    """Expand whole levels, of which the first has the states from `begin` to `filled`; how many.
    `ends` takes where each new level ends; `counters` takes how many states there are then, and
    counts transitions.

    It stops before a level that is larger than `few` or that may lead to more than `most` states in
    all, and when `quota` states have been expanded.
    """
    wide, done, expanded, end = np.uint64(words), 0, 0, filled
    while end > begin and done < ends.size and expanded < quota:
        if end - begin > few or end + (end - begin) * most_records > most:
            break
        for position in range(begin, end):
            first = position * words
            at = np.uint64(filled * words)
            result = reached(code, wide, states, np.uint64(first), states, at, failed)
            depth = np.uint64(level + done)
            note_failures(failed, result >> U32, failures, states, first, words, depth)
            last = filled + np.int64(result & COUNT_MASK)
            counters[1] += last - filled
            for number in range(filled, last):
                for offset in range(words):
                    states[filled * words + offset] = states[number * words + offset]
                if enter(table, states, filled, words):
                    filled += 1
        expanded += end - begin
        begin, end = end, filled
        ends[done] = filled
        done += 1
    counters[0] = filled
    return done


@Kernel
def look_at(
    successors: np.uint64,
    marks: np.uint64,
    words: int,
    rows: U64s,
    count: int,
    seen: U8s,
    records: U64s,
    marked: U64s,
    quiescent: U8s,
) -> None:
    """What holds in each of some rows, as bits, and whether it is quiescent; what is met on the way
    is noted in `seen`.
    """
    base, target = np.uint64(rows.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for row in range(count):
        address = base + np.uint64(row * words) * U8
        marked[row] = call_marks(marks, address)
        result = call_successors(successors, address, target, seen_at)
        quiescent[row] = 0 if result & DRIVEN_BIT else 1


@Kernel
def find_step(
    successors: np.uint64,
    words: int,
    rows: U64s,
    count: int,
    seen: U8s,
    records: U64s,
    goal: U64s,
) -> Any:
    """The first of some rows from which a step leads to the row `goal`, and the least label of such
    a step; (-1, 0) if there is none.
    """
    width = words + 2
    base, target = np.uint64(rows.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for row in range(count):
        address = base + np.uint64(row * words) * U8
        made = np.int64(call_successors(successors, address, target, seen_at) & COUNT_MASK)
        best = np.int64(-1)
        for number in range(made):
            label = records[number * width + words]
            same = label & FAILED_BIT == 0
            for offset in range(words):
                same &= records[number * width + offset] == goal[offset]
            if same:
                given = np.int64(label & LOW)
                if best < 0 or given < best:
                    best = given
        if best >= 0:
            return row, best
    return -1, 0
