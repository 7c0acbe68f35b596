"""Look at all states on a GPU once more, when they are numbered: what holds in them, what their
steps are.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.gpu.shared_table_kernels import number_in
from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s
from modecheck.engine.language.gpu_intrinsics import (
    add_to,
    claim_word,
    fresh_word,
    least_at,
    publish_word,
    thread_count,
    thread_number,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.frame import DRIVEN
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    FAILURE_MASK,
    LOW,
    TWO,
    U0,
    U1,
    U8,
    U32,
)
from modecheck.engine.native.transition_making_kernels import EVENT_BITS, hash_pair

DRIVEN_BIT = np.uint64(DRIVEN)
READY, HAPPENED, MOVED, BORN = range(4)
"""What a row of the table of notes has; a row that is ready has 2, one being written 1."""
NOTE_WORDS = np.uint64(4)
NOTE_SLOTS = 1 << 16
"""Rows of that table; a power of two."""
BEING_WRITTEN, WRITTEN = U1, np.uint64(2)
PLACES_OF_BORN = np.uint64(24)
"""Bits below the number of the state that a note was born with, for its place among the steps."""
NO_NOTE = np.uint64(NOTE_SLOTS)


@Kernel
def stepped(states: U64s, first: np.uint64, records: U64s, seen: U8s) -> Any:  # noqa: ARG001 - see below
    """Write the records of all steps of a state; what `successors` gives (`frame.py`). The code of
    a product takes its place.
    """
    return U0


@Kernel
def marked(states: U64s, first: np.uint64) -> Any:  # noqa: ARG001 - see below
    """The conditions that hold in a state, as bits. The code of a product takes its place."""
    return U0


@Kernel
def mark_on_gpu(shape: tuple[int, ...], begin: int, end: int, states: U64s, marks: U64s) -> None:
    """The conditions that hold in each of the states from `begin` to `end`, from 0 on."""
    words, number = np.uint64(len(shape)), np.uint64(begin) + thread_number()
    while number < np.uint64(end):
        marks[number - np.uint64(begin)] = marked(states, number * words)
        number += thread_count()


@Kernel
def note_slot(notes: U64s, happened: np.uint64, moved: np.uint64, born: np.uint64) -> Any:
    """The row of a kind of transition in the table of notes, which keeps with which it was born
    first; `NO_NOTE` if there is no room for another one.
    """
    mask = np.uint64(NOTE_SLOTS - 1)
    slot = hash_pair(moved, happened) & mask
    base = np.uint64(notes.ctypes.data)
    for _ in range(mask):
        row = slot * NOTE_WORDS
        place = base + row * U8
        known = notes[row]
        if known == U0:
            known = claim_word(place, BEING_WRITTEN)
            if known == U0:
                notes[row + np.uint64(HAPPENED)] = happened
                notes[row + np.uint64(MOVED)] = moved
                notes[row + np.uint64(BORN)] = born
                publish_word(place, WRITTEN)
                return slot
        while known != WRITTEN:
            known = fresh_word(place)
        if fresh_word(place + U8) == happened and fresh_word(place + U8 + U8) == moved:
            # It may have been born earlier, by what is known here; the least one counts.
            if born < notes[row + np.uint64(BORN)]:
                least_at(place + np.uint64(BORN) * U8, born)
            return slot
        slot = (slot + U1) & mask
    return NO_NOTE


@Kernel
def look_at_states(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    states: U64s,
    seen: U8s,
    counts: U32s,
    quiescent: U8s,
    failing: U8s,
    failures: U64s,
    notes: U64s,
    halted: U64s,
    records: U64s,
) -> None:
    """Of the states from `begin` to `end`, from 0 on: how many transitions they have, which are
    quiescent and which have failing steps. `failures` has for each failure how often it was met,
    and above 32 bits of label the first state in which it was. All kinds of transitions get a row
    in `notes`; `halted` says that there are too many.
    """
    words, start = np.uint64(len(shape)), np.uint64(begin)
    number = start + thread_number()
    while number < np.uint64(end):
        result = stepped(states, number * words, records, seen)
        made, fails = U0, U0
        for one in range(result & COUNT_MASK):
            at = one * (words + TWO) + words
            label = records[at]
            if label & FAILED_BIT:
                fails = U1
                failure = ((label >> FAILURE_BITS) & FAILURE_MASK) * TWO
                place = np.uint64(failures.ctypes.data) + failure * U8
                add_to(place, U1)
                least_at(place + U8, (number << U32) | (label & LOW))
            else:
                happened = label >> FAILURE_BITS | (label & LOW) << EVENT_BITS
                born = (number << PLACES_OF_BORN) | one
                if note_slot(notes, happened, records[at + U1], born) == NO_NOTE:
                    halted[0] = U1
                made += U1
        own = number - start
        counts[own] = np.uint32(made)
        quiescent[own] = 0 if result & DRIVEN_BIT else 1
        failing[own] = np.uint8(fails)
        number += thread_count()


@Kernel
def make_on_gpu(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    states: U64s,
    seen: U8s,
    table: U64s,
    first: I64s,
    notes: U64s,
    numbers: U16s,
    targets: U32s,
    kinds: U16s,
    records: U64s,
) -> None:
    """Make the transitions of the states from `begin` to `end`, one behind the other, those of the
    first from 0 on: to which state, and of which kind, by the `numbers` of the rows in `notes`.
    """
    words, start = np.uint64(len(shape)), first[0]
    number = np.uint64(begin) + thread_number()
    while number < np.uint64(end):
        result = stepped(states, number * words, records, seen)
        place = first[number - np.uint64(begin)] - start
        for one in range(result & COUNT_MASK):
            at = one * (words + TWO)
            label = records[at + words]
            if label & FAILED_BIT == U0:
                happened = label >> FAILURE_BITS | (label & LOW) << EVENT_BITS
                born = (number << PLACES_OF_BORN) | one
                slot = note_slot(notes, happened, records[at + words + U1], born)
                kinds[place] = numbers[slot]
                targets[place] = np.uint32(number_in(shape, states, table, records, at) - U1)
                place += 1
        number += thread_count()
