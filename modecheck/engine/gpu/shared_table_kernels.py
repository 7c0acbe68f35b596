"""The table of states on a GPU: open addressing, filled by all threads at once.

A state of one word stands in the table itself, plus one, so that 0 is an empty slot. Of longer
states a slot has half of the hash and, below it, the number of the state plus one: who fills a slot
claims it first, with `BEING_WRITTEN` in place of a number, and publishes the number when the words
are in their place. Slots are never emptied; behind the last one comes the first.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import U64s
from modecheck.engine.language.gpu_intrinsics import (
    claim_word,
    fresh_word,
    high_product,
    publish_word,
    take_one,
    thread_count,
    thread_number,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import LOW, U0, U1, U8, U32
from modecheck.engine.native.table_kernels import hash_of, mixed

FOUND, TRANSITIONS, IS_HALTED, COUNTERS = range(4)
"""Places in the array of counters: states found, steps made, whether room ran out. Behind them is
for each device how many states were written for it."""
MOST_PROBES = np.uint64(1 << 12)
"""Slots looked at before a table counts as full: far more than the longest run seen."""
OWNER_SHIFT = np.uint64(40)
"""Bits of a hash above those by which the states of several devices are dealt out."""
BEING_WRITTEN = LOW
LOST = LOW - U1
"""In place of a number plus one: of a state that is being written, of one there was no room for."""
NO_ROOM = np.uint64(2)
"""What entering a state says beside 0, it was known, and 1, it is new."""


@Kernel
def home_in(hash_: np.uint64, slots: np.uint64) -> Any:
    """The slot where the search for a hash begins."""
    return high_product(hash_, slots)


@Kernel
def owner_in(hash_: np.uint64, devices: np.uint64) -> Any:
    """Which of several devices has the states of a hash: by its lower bits, as the slots of a table
    go by the upper ones.
    """
    return high_product(hash_ << OWNER_SHIFT, devices)


@Kernel
def enter_word(table: U64s, word: np.uint64) -> Any:
    """Put a state of one word into the table."""
    slots = np.uint64(len(table))
    slot, stored = home_in(mixed(U0, word), slots), word + U1
    base = np.uint64(table.ctypes.data)
    for _ in range(MOST_PROBES):
        known = table[slot]
        if known == U0:
            known = claim_word(base + slot * U8, stored)
            if known == U0:
                return U1
        if known == stored:
            return U0
        slot += U1
        if slot == slots:
            slot = U0
    return NO_ROOM


@Kernel
def is_same(states: U64s, first: np.uint64, waiting: U64s, at: np.uint64, shape: Any) -> Any:
    """Whether two states have the same words, of which the first were perhaps just written."""
    base = np.uint64(states.ctypes.data)
    for offset in range(np.uint64(len(shape))):
        if fresh_word(base + (first + offset) * U8) != waiting[at + offset]:
            return False
    return True


@Kernel
def enter_words(  # noqa: C901 - one search for a slot
    shape: tuple[int, ...],
    states: U64s,
    table: U64s,
    waiting: U64s,
    at: np.uint64,
    counters: U64s,
    most: np.uint64,
) -> Any:
    """Put the state whose words stand in `waiting` into the table, and behind the other states."""
    words, slots = np.uint64(len(shape)), np.uint64(len(table))
    hash_ = hash_of(waiting, np.int64(at), len(shape))
    slot, half = home_in(hash_, slots), hash_ << U32
    base = np.uint64(table.ctypes.data)
    for _ in range(MOST_PROBES):
        place = base + slot * U8
        known = fresh_word(place)
        if known == U0:
            known = claim_word(place, half | BEING_WRITTEN)
            if known == U0:
                number = take_one(np.uint64(counters.ctypes.data) + np.uint64(FOUND) * U8)
                if number >= most:
                    publish_word(place, half | LOST)
                    return NO_ROOM
                for offset in range(words):
                    states[number * words + offset] = waiting[at + offset]
                publish_word(place, half | (number + U1))
                return U1
        if known & ~LOW == half:
            while known & LOW == BEING_WRITTEN:
                known = fresh_word(place)
            if known & LOW != LOST:
                first = ((known & LOW) - U1) * words
                if is_same(states, first, waiting, at, shape):
                    return U0
        slot += U1
        if slot == slots:
            slot = U0
    return NO_ROOM


@Kernel
def refill_words(begin: int, end: int, states: U64s, table: U64s, counters: U64s) -> None:
    """Put the states of one word from `begin` to `end`, all different, into an empty table."""
    number = np.uint64(begin) + thread_number()
    while number < np.uint64(end):
        if enter_word(table, states[number]) == NO_ROOM:
            counters[IS_HALTED] = U1
        number += thread_count()


@Kernel
def enter_numbers(
    shape: tuple[int, ...], begin: int, end: int, states: U64s, table: U64s, counters: U64s
) -> None:
    """Put the numbers of the states from `begin` to `end`, all different, into the table."""
    words, slots = np.uint64(len(shape)), np.uint64(len(table))
    base = np.uint64(table.ctypes.data)
    number = np.uint64(begin) + thread_number()
    while number < np.uint64(end):
        hash_ = hash_of(states, np.int64(number * words), len(shape))
        slot, stored = home_in(hash_, slots), (hash_ << U32) | (number + U1)
        probes = U0
        while claim_word(base + slot * U8, stored) != U0 and probes < MOST_PROBES:
            slot += U1
            probes += U1
            if slot == slots:
                slot = U0
        if probes == MOST_PROBES:
            counters[IS_HALTED] = U1
        number += thread_count()


@Kernel
def number_in(
    shape: tuple[int, ...], states: U64s, table: U64s, record: U64s, at: np.uint64
) -> Any:
    """The number plus one of a state that is in a table of numbers; 0 if it is not there."""
    words, slots = np.uint64(len(shape)), np.uint64(len(table))
    hash_ = hash_of(record, np.int64(at), len(shape))
    slot, half = home_in(hash_, slots), hash_ << U32
    while True:
        known = table[slot]
        if known == U0:
            return U0
        if known & ~LOW == half:
            first, same = ((known & LOW) - U1) * words, True
            for offset in range(words):
                if states[first + offset] != record[at + offset]:
                    same = False
                    break
            if same:
                return known & LOW
        slot += U1
        if slot == slots:
            slot = U0
