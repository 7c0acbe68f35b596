"""The inner loops that build the graph of transitions.

States are numbered by depth and, within a depth, by their words. The transitions of state `i` are
`first[i]` to `first[i + 1] - 1` in `targets` and `notes`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.compiled.frame import DRIVEN
from modecheck.engine.compiled.kernels import (
    AHEAD,
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    LOW,
    SLOTS,
    U0,
    U1,
    U8,
    U32,
    U64,
    hash_of,
    line_of,
    put,
    same_words,
)
from modecheck.engine.compiled.language.annotations import I64s, U8s, U16s, U32s, U64Rows, U64s
from modecheck.engine.compiled.language.intrinsics import (
    call_marks,
    call_successors,
    lowest_bit,
    prefetch,
    slots_equal,
    upper_halves_equal,
)
from modecheck.engine.compiled.language.kernel import Kernel

DRIVEN_BIT = np.uint64(DRIVEN)
EVENT_BITS = np.uint64(31)
"""Bits of what happened in a note; the label stands above them."""
MOST_NOTES = 0xFFFF
"""Kinds of transitions that a 16-bit number can tell apart."""


@Kernel
def index_states(states: U64s, words: int, count: int, table: U64s, lines: int) -> None:
    """Fill a table with the upper half of each state's hash and its number, plus one."""
    base, lines_ = np.uint64(table.ctypes.data), np.uint64(lines)
    for number in range(count):
        # The line of a later state is asked for now, so that `put` need not wait for memory.
        if number + AHEAD < count:
            early = hash_of(states, (number + AHEAD) * words, words)
            prefetch(base + line_of(early, lines_) * U64)
        hash_ = hash_of(states, number * words, words)
        stored = (hash_ & ~LOW) | np.uint64(number + 1)
        put(table, stored, line_of(hash_, lines_))


@Kernel
def number_of(
    states: U64s,
    words: np.uint64,
    table: U64s,
    base: np.uint64,
    lines: np.uint64,
    record: U64s,
    at: np.uint64,
    hash_: np.uint64,
) -> Any:
    """The number of a state that is in the table, or -1."""
    line = line_of(hash_, lines)
    while True:
        address = base + line * U64
        similar = upper_halves_equal(address, hash_)
        while similar != U0:
            found = table[line * SLOTS + lowest_bit(similar)] & LOW
            # The table keeps numbers, not states, so each hit costs a look at the state itself.
            if found != U0 and same_words(states, (found - U1) * words, record, at, words):
                return np.int64(found) - 1
            similar &= similar - U1
        if slots_equal(address, U0) != U0:
            return -1
        line += U1


@Kernel
def mark_states(address: int, states: U64s, words: int, count: int, marks: U64s) -> None:
    """The conditions that hold in each state, as bits."""
    base = np.uint64(states.ctypes.data)
    for number in range(count):
        marks[number] = call_marks(address, base + np.uint64(number * words) * U8)


@Kernel
def note_number(note_table: U64Rows, moved: np.uint64, happened: np.uint64, known: I64s) -> Any:
    """The number of a pair of moved chips and what happened (label and events); a new pair is
    added. -1 when there are too many.

    `note_table` has rows of moved, happened, number plus one.
    """
    size = note_table.shape[0]
    slot: Any = np.int64(hash_pair(moved, happened) % np.uint64(size))
    for _ in range(size):
        if note_table[slot, 2] == U0:
            if known[0] >= MOST_NOTES:
                return -1
            note_table[slot, 0], note_table[slot, 1] = moved, happened
            known[0] += 1
            note_table[slot, 2] = np.uint64(known[0])
            return known[0] - 1
        if note_table[slot, 0] == moved and note_table[slot, 1] == happened:
            return np.int64(note_table[slot, 2]) - 1
        slot += 1
        if slot == size:
            slot = 0
    return -1


@Kernel
def hash_pair(one: np.uint64, two: np.uint64) -> Any:
    mixed = (one * np.uint64(0x9E3779B97F4A7C15)) ^ (two * np.uint64(0xC2B2AE3D27D4EB4F))
    return mixed ^ (mixed >> U32)


@Kernel
def build_transitions(  # noqa: C901 - the stages of one batch, which share everything
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    table: U64s,
    lines: int,
    records: U64s,
    hashes: U64s,
    most_records: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    note_table: U64Rows,
    known: I64s,
    quiescent: U8s,
    failing: U8s,
) -> Any:
    """Make the transitions of the states from `begin` to `end`; 0, or 1 when there are more kinds
    of notes than fit.
    """
    width = words + 2
    room = records.size // width
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at, table_at = np.uint64(seen.ctypes.data), np.uint64(table.ctypes.data)
    lines_, wide = np.uint64(lines), np.uint64(words)
    position = begin
    while position < end:
        made = 0
        while position < end and made + most_records <= room:
            result = call_successors(
                address,
                base + np.uint64(position * words) * U8,
                target + np.uint64(made * width) * U8,
                seen_at,
            )
            quiescent[position] = 0 if result & DRIVEN_BIT else 1
            count = np.int64(result & COUNT_MASK)
            kept = made
            for number in range(made, made + count):
                at = number * width
                if records[at + words] & FAILED_BIT:
                    failing[position] = 1
                    continue
                hash_ = hash_of(records, at, words)
                prefetch(table_at + line_of(hash_, lines_) * U64)
                hashes[kept] = hash_
                if kept != number:
                    for offset in range(width):
                        records[kept * width + offset] = records[at + offset]
                kept += 1
            first[position + 1] = first[position] + (kept - made)
            made = kept
            position += 1
        # Three passes over a batch: ask for the table's lines, then for the states that they name,
        # then compare. Each pass finds in the cache what the one before has asked for.
        for number in range(made):
            line = line_of(hashes[number], lines_)
            similar = upper_halves_equal(table_at + line * U64, hashes[number])
            if similar != U0:
                found = (table[line * SLOTS + lowest_bit(similar)] & LOW) - U1
                prefetch(base + found * wide * U8)
        start = first[position] - made
        for number in range(made):
            at = number * width
            targets[start + number] = np.uint32(
                number_of(
                    states,
                    wide,
                    table,
                    table_at,
                    lines_,
                    records,
                    np.uint64(at),
                    hashes[number],
                )
            )
            label = records[at + words]
            happened = (label & ~FAILED_BIT) >> FAILURE_BITS | (label & LOW) << EVENT_BITS
            note = note_number(note_table, records[at + words + 1], happened, known)
            if note < 0:
                return 1
            notes[start + number] = np.uint16(note)
    return 0


@Kernel
def flag_states(
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    records: U64s,
    quiescent: U8s,
    failing: U8s,
) -> None:
    """Only which states are quiet and which have a failing step, where transitions do not fit."""
    width = words + 2
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for position in range(begin, end):
        result = call_successors(address, base + np.uint64(position * words) * U8, target, seen_at)
        quiescent[position] = 0 if result & DRIVEN_BIT else 1
        for number in range(np.int64(result & COUNT_MASK)):
            if records[number * width + words] & FAILED_BIT:
                failing[position] = 1


@Kernel
def find_before(
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    goal: int,
    records: U64s,
) -> Any:
    """The first state from `begin` on that has a step to the state number `goal`, or -1."""
    width = words + 2
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for position in range(begin, end):
        result = call_successors(address, base + np.uint64(position * words) * U8, target, seen_at)
        for number in range(np.int64(result & COUNT_MASK)):
            at = number * width
            if records[at + words] & FAILED_BIT:
                continue
            same = True
            for offset in range(words):
                if records[at + offset] != states[goal * words + offset]:
                    same = False
                    break
            if same:
                return position
    return -1
