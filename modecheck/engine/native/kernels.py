"""The inner loops of the compiled engine, fixed for all products and compiled once.

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

A successor waits in a ring from when its line is asked for until some others have been made, so
that making successors and waiting for memory go on at the same time, evenly.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U64Rows, U64s
from modecheck.engine.language.intrinsics import (
    EMPTY,
    LINE,
    call_successors,
    fill_short_slot,
    fill_slot,
    lowest_bit,
    prefetch,
    short_slots_equal,
    short_slots_equal_and_empty,
    slots_equal,
    slots_equal_and_empty,
    take_from,
    upper_halves_equal_and_empty,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.frame import DRIVEN, FAILURE_SHIFT, RECORD_EXTRA

U0 = np.uint64(0)
U1 = np.uint64(1)
TWO = np.uint64(RECORD_EXTRA)
U8 = np.uint64(8)
U32 = np.uint64(32)
U64 = np.uint64(64)
SLOTS = np.uint64(LINE)
SHORT, CACHE_LINE = 4, 64
"""Bytes of a short slot, and of a cache line."""
EQUAL = np.uint64((1 << EMPTY) - 1)
FREE = np.uint64(EMPTY)
LOW = np.uint64(0xFFFFFFFF)
MULTIPLY_ONE = np.uint64(0x9E3779B97F4A7C15)
MULTIPLY_TWO = np.uint64(0xD6E8FEB86659FD93)
"""Odd constants with well-mixed bits: the golden ratio's, and one in common use for mixing."""
FAILED_BIT = np.uint64(1 << 63)
FAILURE_MASK = np.uint64(0x7FFFFFFF)
FAILURE_BITS = np.uint64(FAILURE_SHIFT)
COUNT_MASK = np.uint64(DRIVEN - 1)

SPARE = 1 << 13
"""Lines behind the last home, for probes that run on; far more than the longest run seen."""

AT, UNTIL, FILLED, TRANSITIONS, EXPANDED, LEVELS = range(6)
"""Places in the array of counters that a kernel goes on from when it is called again."""
COUNTERS = 6


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
def note_failure(
    failures: U64Rows,
    failure: int,
    label: np.uint64,
    first: np.uint64,
    words: np.uint64,
    states: Any,
    level: np.uint64,
) -> Any:
    """Count a failing step; of those in the shallowest level keep the state with the least words,
    which stand in `states` from `first` on, so that the choice does not depend on the order of
    work.

    A row of `failures`: count, level plus one, label, words of the state.
    """
    row = failures[failure]
    row[0] += U1
    # Levels come in order, so a row that is filled already is of this level or of a shallower one.
    if row[1] != U0 and row[1] != level + U1:
        return
    better = row[1] == U0
    if not better:
        for offset in range(words):
            new, old = states[first + np.uint64(offset)], row[3 + offset]
            if new != old:
                better = new < old
                break
        else:
            better = label < row[2]
    if better:
        row[1] = level + U1
        row[2] = label
        for offset in range(words):
            row[3 + offset] = states[first + np.uint64(offset)]


AHEAD = 32
"""States whose lines are asked for ahead of time, a power of two; with more, the first are gone
from the cache."""


@Kernel
def expand(  # noqa: C901 - the stages of one pipeline, which share everything
    address: int,
    seen: U8s,
    shape: tuple[int, ...],
    others: tuple[int, ...],
    begins: U64s,
    ends: I64s,
    taken: I64s,
    halt: I64s,
    chunk: int,
    quota: int,
    states: Any,
    most: int,
    everything: Any,
    own: int,
    bits: int,
    table: Any,
    lines: int,
    distance: int,
    records: U64s,
    ring: U64Rows,
    failures: U64Rows,
    level: np.uint64,
    counters: I64s,
) -> None:
    """Expand states of a level, chunk by chunk, until there are no more, `quota` of them have been
    expanded, or some thread has called a halt by `halt[0]`: this one does when it has found `most`.

    Those that thread `t` has found end at `ends[t]`, and would stand at `begins[t]` if they began
    at 0; `taken[0]` counts what has been handed out. New states are appended to `states`, the own
    ones among `everything`. `shape` is a tuple with an item for each word of a state, `others` one
    that is empty if there is one thread only: their lengths are known when this is compiled.
    """
    words = np.uint64(len(shape))
    width = words + TWO
    base, target = np.uint64(everything.ctypes.data), np.uint64(records.ctypes.data)
    notes = np.uint64(seen.ctypes.data)
    table_at, counter = np.uint64(table.ctypes.data), np.uint64(taken.ctypes.data)
    lines_, most_, distance_ = np.uint64(lines), np.uint64(most), np.uint64(distance)
    room, segments, mine = np.uint64(ring.shape[1]), np.uint64(ends.size), np.uint64(own)
    mask, ahead, share = room - U1, np.uint64(AHEAD), np.uint64(states.size)
    first, bits_ = mine * share, np.uint64(bits)
    last = np.uint64(records.size - 1)  # where the word of a short state is spread out
    homes, hashes = ring[len(shape)], ring[len(shape) + 1]
    at, until = np.uint64(counters[AT]), np.uint64(counters[UNTIL])
    filled, transitions = np.uint64(counters[FILLED]), np.uint64(counters[TRANSITIONS])
    whole, most_expanded = np.uint64(ends[-1]), np.uint64(quota)
    expanded = U0
    halted: Any = False
    made = done = ahead
    check, run = transitions, 0
    while True:
        # Room for what the ring holds and for what is made until the next look (`ring_size`).
        if transitions >= check:
            check = transitions + room // TWO
            if filled + room > most_:
                halt[0] = 1
            halted = halt[0] != 0 or expanded >= most_expanded
        # Chunks are handed out by one atomic addition: threads that are faster simply take more of
        # them.
        if at == until and not halted:
            at = min(np.uint64(take_from(counter, np.int64(chunk))), whole)
            until = min(at + np.uint64(chunk), whole)
        stop = made
        if at < until and not halted:
            # Numbers only grow while a level lasts, so the thread that found a state is searched
            # forwards.
            while at >= np.uint64(ends[run]):
                run += 1
            state = np.uint64(begins[run]) + at * words
            origin = base + state * U8
            if is_short(everything):
                records[last] = everything[state]
                origin = target + last * U8
            result = call_successors(address, origin, target, notes)
            for number in range(U0, result & COUNT_MASK):
                record = number * width
                label = records[record + words]
                if label & FAILED_BIT:
                    failure = np.int64((label >> FAILURE_BITS) & FAILURE_MASK)
                    note_failure(failures, failure, label & LOW, state, words, everything, level)
                    continue
                transitions += U1
                hash_ = hash_of(records, np.int64(record), len(shape))
                home = home_for(hash_, lines_, distance_, segments, others)
                place = made & mask
                homes[place] = home
                if words != U1:
                    hashes[place] = hash_
                for offset in range(words):
                    ring[offset, place] = records[record + offset]
                prefetch(table_at + home * U64)
                made += U1
            at += U1
            expanded += U1
            # What was asked for least recently is entered first; its line has had time to arrive.
            stop = made - ahead
        while done < stop:
            place = done & mask
            done += U1
            if words == U1:
                result = insert_word(table, homes[place], ring[0, place], others)
                # Written in any case, as it is quicker to overwrite it than to ask.
                states[filled] = ring[0, place]
            else:
                # The words are written before the number is published in the table: another thread
                # that finds the number must find the words, too. If the state is known they are
                # overwritten.
                for offset in range(words):
                    states[filled * words + offset] = ring[offset, place]
                result = insert_words(
                    table,
                    homes[place],
                    hashes[place],
                    (filled << bits_) | mine,
                    everything,
                    share,
                    bits_,
                    first + filled * words,
                    words,
                    others,
                )
            filled += result & NEW
            if result == FULL:
                # It waits once more, for the next line, since that has not been asked for.
                again, line = made & mask, homes[place] + U1
                homes[again], hashes[again] = line, hashes[place]
                for offset in range(words):
                    ring[offset, again] = ring[offset, place]
                prefetch(table_at + line * U64)
                made += U1
        if done == made and (at == until or halted):
            break
    counters[EXPANDED] += np.int64(expanded)
    counters[AT], counters[UNTIL] = at, until
    counters[FILLED], counters[TRANSITIONS] = filled, transitions


FEW = 1 << 10
"""States of a level that one thread expands sooner than several meet."""
TOGETHER = 1 << 18
"""States found in small levels before somebody looks at the clock."""


@Kernel
def expand_small_levels(
    address: int,
    seen: U8s,
    shape: tuple[int, ...],
    others: tuple[int, ...],
    begins: U64s,
    ends: I64s,
    taken: I64s,
    halt: I64s,
    states: Any,
    most: int,
    everything: Any,
    own: int,
    bits: int,
    table: Any,
    lines: int,
    distance: int,
    records: U64s,
    ring: U64Rows,
    failures: U64Rows,
    level: int,
    counters: I64s,
    most_records: int,
    level_ends: I64s,
) -> None:
    """Expand whole levels, one after another, while no other thread does anything, where there are
    few states in each and room for all that they could lead to. `level_ends` takes how many states
    the thread had found after each, and `counters[LEVELS]` how many levels there are.

    `begins` and `ends` tell of the first level, as in `expand`, and then of the next. No level is
    begun when as many states as `TOGETHER` have been found.
    """
    until = counters[FILLED] + TOGETHER
    for done in range(level_ends.size):
        fresh, before = ends[-1], counters[FILLED]
        if fresh == 0 or fresh > FEW or before > until:
            break
        # Room for the worst case is asked for beforehand, since nobody grows the table in between.
        if before + fresh * most_records + ring.shape[1] > most:
            break
        taken[0] = 0
        counters[AT] = counters[UNTIL] = 0
        expand(
            address, seen, shape, others, begins, ends, taken, halt, FEW, FEW + 1, states, most,
            everything, own, bits, table, lines, distance, records, ring, failures,
            np.uint64(level + done), counters,
        )  # fmt: skip
        begins[0] = np.uint64(own) * np.uint64(states.size) + np.uint64(before * len(shape))
        ends[:] = counters[FILLED] - before
        level_ends[done] = counters[FILLED]
        counters[LEVELS] = done + 1


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
    count: int,
    segment: int,
    segments: int,
    thread: int,
    bits: int,
) -> None:
    """Put those of a thread's states that belong there into a segment that was emptied."""
    lines_ = np.uint64(lines)
    for number in range(count):
        at = number * words
        hash_ = hash_of(states, at, words)
        if ((hash_ & LOW) * np.uint64(segments)) >> U32 != np.uint64(segment):
            continue
        stored = np.uint64(states[at]) + U1
        if words != 1:
            index = (np.uint64(number) << np.uint64(bits)) | np.uint64(thread)
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
