"""The inner loops that make transitions: to which state, by its number, and of which kind."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64Rows, U64s
from modecheck.engine.language.intrinsics import (
    call_successors,
    lowest_bit,
    prefetch,
    upper_halves_equal_and_empty,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.exploring_kernels import AHEAD
from modecheck.engine.native.frame import DRIVEN
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    LOW,
    U0,
    U1,
    U8,
    U32,
    U64,
)
from modecheck.engine.native.table_kernels import (
    EQUAL,
    FREE,
    SLOTS,
    hash_of,
    line_of,
    put,
    same_words,
)

DRIVEN_BIT = np.uint64(DRIVEN)
EVENT_BITS = np.uint64(31)
"""Bits of what happened in a note; the label stands above them."""
MOST_NOTES = 0xFFFF
"""Kinds of transitions that a 16-bit number can tell apart."""
UNSURE = np.uint32(0xFFFFFFFF)
"""Stands for a state that is not found yet."""


@Kernel
def index_states(
    states: U64s, words: int, begin: int, end: int, table: U64s, lines: int, others: tuple[int, ...]
) -> None:
    """Put the upper half of the hash of the states from `begin` to `end`, and their numbers, plus
    one, into a table, which others may fill at the same time.
    """
    base, lines_ = np.uint64(table.ctypes.data), np.uint64(lines)
    for number in range(begin, end):
        # The line of a later state is asked for now, so that `put` need not wait for memory.
        if number + AHEAD < end:
            early = hash_of(states, (number + AHEAD) * words, words)
            prefetch(base + line_of(early, lines_) * U64)
        hash_ = hash_of(states, number * words, words)
        stored = (hash_ & ~LOW) | np.uint64(number + 1)
        put(table, stored, line_of(hash_, lines_), others)


@Kernel
def surely(table: U64s, lines: np.uint64, hash_: np.uint64) -> Any:
    """The number of a state that is in the table, plus one, where its home line alone tells that;
    else 0.

    A line with an empty slot has never been full, so the state is in it; and if only one slot has
    the upper half of the hash, it is that one. No look at the states themselves is needed.
    """
    line = line_of(hash_, lines)
    slots = upper_halves_equal_and_empty(np.uint64(table.ctypes.data) + line * U64, hash_)
    # Of an empty slot the upper half may be equal, too.
    similar = slots & EQUAL & ~(slots >> FREE)
    if slots >> FREE == U0 or similar & (similar - U1) != U0:
        return U0
    return table[line * SLOTS + lowest_bit(similar)] & LOW


@Kernel
def candidate(table: U64s, lines: np.uint64, hash_: np.uint64) -> Any:
    """The number, plus one, of a state in the home line with this upper half of the hash, or 0."""
    line = line_of(hash_, lines)
    slots = upper_halves_equal_and_empty(np.uint64(table.ctypes.data) + line * U64, hash_)
    similar = slots & EQUAL & ~(slots >> FREE)
    return table[line * SLOTS + lowest_bit(similar)] & LOW if similar != U0 else U0


@Kernel
def number_of(
    states: U64s,
    words: np.uint64,
    table: U64s,
    lines: np.uint64,
    record: U64s,
    at: np.uint64,
    hash_: np.uint64,
) -> Any:
    """The number of a state that is in the table, plus one."""
    line = line_of(hash_, lines)
    while True:
        slots = upper_halves_equal_and_empty(np.uint64(table.ctypes.data) + line * U64, hash_)
        similar = slots & EQUAL & ~(slots >> FREE)
        while similar != U0:
            found = table[line * SLOTS + lowest_bit(similar)] & LOW
            # The table keeps numbers, not states, so each hit costs a look at the state itself.
            if same_words(states, (found - U1) * words, record, at, words):
                return found
            similar &= similar - U1
        line += U1


@Kernel
def note_number(
    note_table: U64Rows, moved: np.uint64, happened: np.uint64, known: I64s, born: I64s, state: int
) -> Any:
    """The number of a pair of moved chips and what happened (label and events); a new pair is
    added, as one that came with this state. -1 when there are too many.

    `note_table` has rows of moved, happened, number plus one; there are a power of two of them.
    """
    mask = np.uint64(note_table.shape[0] - 1)
    slot = hash_pair(moved, happened) & mask
    while note_table[slot, 2] != U0:
        if note_table[slot, 0] == moved and note_table[slot, 1] == happened:
            return np.int64(note_table[slot, 2]) - 1
        slot = (slot + U1) & mask
    number = known[0]
    if number >= MOST_NOTES:
        return -1
    note_table[slot, 0], note_table[slot, 1] = moved, happened
    note_table[slot, 2] = np.uint64(number + 1)
    born[number] = state
    known[0] = number + 1
    return number


@Kernel
def hash_pair(one: np.uint64, two: np.uint64) -> Any:
    mixed = (one * np.uint64(0x9E3779B97F4A7C15)) ^ (two * np.uint64(0xC2B2AE3D27D4EB4F))
    return mixed ^ (mixed >> U32)


@Kernel
def make_transitions(  # noqa: C901 - the stages of one batch, which share everything
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
    counts: I64s,
    targets: U32s,
    notes: U16s,
    note_table: U64Rows,
    known: I64s,
    born: I64s,
    quiescent: U8s,
    failing: U8s,
) -> Any:
    """Make the transitions of the states from `begin` to `end`, one behind the other; how many
    there are, or -1 when there are more kinds of notes than fit. `counts[n + 1]` takes how many
    state `n` has.
    """
    width = words + 2
    room = records.size // width
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at, table_at = np.uint64(seen.ctypes.data), np.uint64(table.ctypes.data)
    lines_, wide = np.uint64(lines), np.uint64(words)
    position, start = begin, np.int64(0)
    while position < end:
        made = np.int64(0)
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
                label = records[at + words]
                if label & FAILED_BIT:
                    failing[position] = 1
                    continue
                hash_ = hash_of(records, at, words)
                prefetch(table_at + line_of(hash_, lines_) * U64)
                hashes[kept] = hash_
                happened = label >> FAILURE_BITS | (label & LOW) << EVENT_BITS
                moved = records[at + words + 1]
                note = note_number(note_table, moved, happened, known, born, position)
                if note < 0:
                    return -1
                notes[start + kept] = np.uint16(note)
                if kept != number:
                    for offset in range(words):
                        records[kept * width + offset] = records[at + offset]
                kept += 1
            counts[position + 1] = kept - made
            made = kept
            position += 1
        # Two more passes over a batch: of most states the line that was asked for tells the number;
        # of the others it names a state, which is asked for and then compared.
        for number in range(made):
            found = surely(table, lines_, hashes[number])
            targets[start + number] = np.uint32(found - U1)
            if found == U0:
                named = candidate(table, lines_, hashes[number])
                prefetch(base + (named - U1) * wide * U8)
        for number in range(made):
            if targets[start + number] == UNSURE:
                record = np.uint64(number * width)
                found = number_of(states, wide, table, lines_, records, record, hashes[number])
                targets[start + number] = np.uint32(found - U1)
        start += made
    return start
