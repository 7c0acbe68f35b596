"""The table of states: looking a state up, entering it, growing the table.

A table is an array of cache lines of eight slots, or of sixteen of half the size. The home line of
a state is `hash * lines / 2^32`; when it is full the next line is taken. A whole line is compared
at once, so a probe costs one miss of the cache and seldom a second, which is asked for ahead of
time as the first is. As the home grows with the hash, a table is grown in place, from its end to
its beginning, and probes never wrap round (spare lines follow the last home). All this is said of
one segment: there are as many as threads (`table.py`).

States of one word stand in the table themselves, plus one, so that 0 is an empty slot; where they
have no more than 31 bits, slots have half the size, as have the states in the order in which they
were found. Of longer states the table holds the upper half of the hash and the number of the state,
plus one. Slots of a line are filled in order and never emptied: of two threads with the same state,
the second cannot fill the slot that both saw empty, looks again, and finds it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import U64s
from modecheck.engine.language.intrinsics import (
    EMPTY,
    LINE,
    fill_short_slot,
    fill_slot,
    lowest_bit,
    short_slots_equal,
    short_slots_equal_and_empty,
    slots_equal,
    slots_equal_and_empty,
    upper_halves_equal_and_empty,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import (
    LOW,
    MULTIPLY_ONE,
    MULTIPLY_TWO,
    U0,
    U1,
    U32,
    U64,
)

SLOTS = np.uint64(LINE)
SHORT, CACHE_LINE = 4, 64
"""Bytes of a short slot, and of a cache line."""
EQUAL = np.uint64((1 << EMPTY) - 1)
FREE = np.uint64(EMPTY)
SPARE = 1 << 13
"""Lines behind the last home, for probes that run on; far more than the longest run seen."""


@Kernel
def mixed(hash_: np.uint64, word: np.uint64) -> Any:
    """One more word mixed into a hash."""
    hash_ = (hash_ ^ word) * MULTIPLY_ONE
    return (hash_ ^ (hash_ >> U32)) * MULTIPLY_TWO


@Kernel
def hash_of(words: Any, first: int, count: int) -> Any:
    """The hash of a state; its upper half gives the home, its lower half the segment."""
    result = U0
    for number in range(count):
        result = mixed(result, np.uint64(words[first + number]))
    return result


@Kernel
def line_of(hash_: np.uint64, lines: np.uint64) -> Any:
    """The home line of a hash."""
    return ((hash_ >> U32) * lines) >> U32


@Kernel
def is_short(slots: Any) -> Any:
    """Whether slots have 32 bits; known when this is compiled."""
    return slots.itemsize == SHORT


@Kernel
def slots_of_line(table: Any) -> Any:
    """Slots in a line."""
    return np.uint64(CACHE_LINE // table.itemsize)


@Kernel
def equal_slots(table: Any, line: np.uint64, stored: np.uint64) -> Any:
    """Which slots of a line hold something, as bits."""
    address = np.uint64(table.ctypes.data) + line * U64
    if is_short(table):
        return short_slots_equal(address, stored)
    return slots_equal(address, stored)


@Kernel
def store(table: Any, place: np.uint64, stored: np.uint64, others: tuple[int, ...]) -> Any:
    """Store a word in a slot that was empty a moment ago; whether nobody else came first."""
    # With one thread nobody can come first: a plain store is several times faster than an atomic
    # one.
    if len(others):
        address = np.uint64(table.ctypes.data) + place * np.uint64(table.itemsize)
        if is_short(table):
            return fill_short_slot(address, stored)
        return fill_slot(address, stored)
    table[place] = stored
    return True


KNOWN, NEW, FULL = U0, U1, np.uint64(2)
"""What becomes of a state at a line: it stood there, it was put there, or it belongs behind."""


@Kernel
def insert_word(table: Any, line: np.uint64, word: np.uint64, others: tuple[int, ...]) -> Any:
    """Put a one-word state into a line of its table."""
    address = np.uint64(table.ctypes.data) + line * U64
    stored = word + U1
    while True:
        if is_short(table):
            slots = short_slots_equal_and_empty(address, stored)
        else:
            slots = slots_equal_and_empty(address, stored)
        # Equal slots come first: the state may stand in this line although slots behind it are
        # free.
        if slots & EQUAL != U0:
            return KNOWN
        free = slots >> FREE
        if free == U0:
            return FULL
        # Where another thread filled the slot first, the same line is looked at again.
        if store(table, line * slots_of_line(table) + lowest_bit(free), stored, others):
            return NEW


@Kernel
def insert_words(
    table: Any,
    line: np.uint64,
    hash_: np.uint64,
    number: np.uint64,
    states: Any,
    share: np.uint64,
    bits: np.uint64,
    first: np.uint64,
    count: np.uint64,
    others: tuple[int, ...],
) -> Any:
    """Put a longer state into a line of its table. Its words stand in `states` from `first` on,
    before anybody can find its number there: that has `bits` for the thread, whose states are a
    `share` of all words.
    """
    base = np.uint64(table.ctypes.data)
    while True:
        slots = upper_halves_equal_and_empty(base + line * U64, hash_)
        similar, free = slots & EQUAL, slots >> FREE
        # Half a hash is seldom equal by chance, so states are compared word by word only here.
        while similar != U0:
            found = np.uint64(table[line * SLOTS + lowest_bit(similar)]) & LOW
            if found != U0:
                thread, index = (found - U1) & ((U1 << bits) - U1), (found - U1) >> bits
                if same_words(states, thread * share + index * count, states, first, count):
                    return KNOWN
            similar &= similar - U1
        if free == U0:
            return FULL
        if store(table, line * SLOTS + lowest_bit(free), (hash_ & ~LOW) | (number + U1), others):
            return NEW


@Kernel
def home_for(
    hash_: np.uint64,
    lines: np.uint64,
    distance: np.uint64,
    segments: np.uint64,
    others: tuple[int, ...],
) -> Any:
    """The home line of a hash in a table of so many segments, `distance` lines apart."""
    home = line_of(hash_, lines)
    if len(others):
        home += (((hash_ & LOW) * segments) >> U32) * distance
    return home


@Kernel
def same_words(states: Any, first: np.uint64, record: Any, at: np.uint64, words: np.uint64) -> Any:
    """Whether a state that is kept and one that was made are the same."""
    for offset in range(words):
        if states[first + np.uint64(offset)] != record[at + np.uint64(offset)]:
            return False
    return True


@Kernel
def home_of(stored: np.uint64, words: int, lines: np.uint64) -> Any:
    """The home line of what a slot holds, in a table of so many lines."""
    if words == 1:
        return line_of(mixed(U0, stored - U1), lines)
    return line_of(stored, lines)


@Kernel
def put(table: Any, stored: np.uint64, home: np.uint64, others: tuple[int, ...]) -> None:
    """Store what is known to be new at the first free slot from its home on."""
    line, slots, waits = home, slots_of_line(table), True
    # No comparison: the caller knows that the state is not there yet.
    while waits:
        free = equal_slots(table, line, U0)
        if free == U0:
            line += U1
        else:
            waits = not store(table, line * slots + lowest_bit(free), stored, others)


@Kernel
def refill(
    table: Any,
    lines: int,
    words: int,
    states: Any,
    first: int,
    segment: int,
    segments: int,
    thread: int,
    bits: int,
) -> None:
    """Put those of a thread's states, from its number `first` on, that belong there into a segment
    that was emptied.
    """
    lines_ = np.uint64(lines)
    for number in range(states.size // words):
        at = number * words
        hash_ = hash_of(states, at, words)
        if ((hash_ & LOW) * np.uint64(segments)) >> U32 != np.uint64(segment):
            continue
        stored = np.uint64(states[at]) + U1
        if words != 1:
            index = (np.uint64(first + number) << np.uint64(bits)) | np.uint64(thread)
            stored = (hash_ & ~LOW) | (index + U1)
        put(table, stored, line_of(hash_, lines_), ())


RECENT = 64
"""Lines whose filling is remembered while a table grows: more than are filled at any time."""
UNKNOWN = np.uint64(0xFFFFFFFFFFFFFFFF)


@Kernel
def count_of(table: Any, line: np.uint64) -> Any:
    """How many slots of a line are full; they stand at its beginning."""
    free = equal_slots(table, line, U0)
    return lowest_bit(free) if free != U0 else slots_of_line(table)


@Kernel
def grow(  # noqa: C901 - one pass over the table
    table: Any, old_lines: int, new_lines: int, words: int, aside: U64s, room: tuple[U64s, ...]
) -> Any:
    """Spread a table over more lines, in place; 0, or 1 when it must be filled anew.

    From the end to the beginning every line is emptied, and what was in it is put where it belongs
    now. That is never before the line it was in, except in the first lines, which are set aside
    beforehand and put back last: so what has been put stays, and the lines between a home and
    where its state stands are full, as a search expects. `room` holds a line, the homes of what is
    in it, and how far the lines being filled are: looking would wait for what has just been stored.
    """
    slots = slots_of_line(table)
    new, width = np.uint64(new_lines), np.int64(slots)
    first = min(np.int64(aside.size), np.int64(old_lines) * width)
    kept = first
    for slot in range(first):
        aside[slot] = table[slot]
        table[slot] = U0
    moving, homes, recent, used = room
    for number in range(RECENT):
        recent[number] = UNKNOWN
    for line in range(old_lines + SPARE - 1, first // width - 1, -1):
        begin = np.uint64(line) * slots
        count = np.int64(count_of(table, np.uint64(line)))
        for number in range(count):
            moving[number] = table[begin + np.uint64(number)]
            homes[number] = home_of(moving[number], words, new)
            # A run of full lines that began before this one: moving in place would overtake itself.
            if homes[number] < np.uint64(line):
                return 1
        for slot in range(width):
            table[begin + np.uint64(slot)] = U0
        for number in range(count):
            goal = homes[number]
            while True:
                place = goal % np.uint64(RECENT)
                if recent[place] != goal:
                    recent[place] = goal
                    used[place] = count_of(table, goal)
                if used[place] < slots:
                    break
                goal += U1
            table[goal * slots + used[place]] = moving[number]
            used[place] += U1
    for number in range(kept):
        if aside[number] != U0:
            put(table, aside[number], home_of(aside[number], words, new), ())
    return 0
