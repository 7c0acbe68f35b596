"""The inner loops of the compiled engine, fixed for all products and compiled once.

A table is an array of cache lines of eight slots. The home line of a state is
`hash * lines / 2^32`; when it is full the next line is taken. A whole line is compared at once, so
a probe costs one miss of the cache and seldom a second. As the home grows with the hash, a table is
grown in place, from its end to its beginning, and probes never wrap round (spare lines follow the
last home).

States of one word stand in the table themselves, plus one, so that 0 is an empty slot. Of longer
states the table holds the upper half of the hash and the number of the state, plus one.

A successor waits in a ring from when its line is asked for until some others have been made, so
that making successors and waiting for memory go on at the same time, evenly.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from modecheck.engine.compiled.frame import DRIVEN, FAILURE_SHIFT, RECORD_EXTRA
from modecheck.engine.compiled.intrinsics import (
    LINE,
    call_successors,
    lowest_bit,
    prefetch,
    slots_equal,
    upper_halves_equal,
)

U0 = np.uint64(0)
U1 = np.uint64(1)
TWO = np.uint64(RECORD_EXTRA)
U8 = np.uint64(8)
U32 = np.uint64(32)
U64 = np.uint64(64)
SLOTS = np.uint64(LINE)
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

POSITION, FILLED, TRANSITIONS, FED, LEVELS = 0, 1, 2, 3, 4
"""Places in the array of counters that a kernel goes on from when it is called again."""

compiled_kernel: Any = njit(nogil=True, cache=True, boundscheck=False)
lean_kernel: Any = njit(nogil=True, cache=True, boundscheck=False, _nrt=False)
"""A kernel that allocates nothing, and does not count who holds its arrays: else each call within
it does so with atomic instructions, which together took as long as all the rest of `expand`.
"""


@lean_kernel
def mixed(hash_: Any, word: Any) -> Any:
    """One more word mixed into a hash."""
    hash_ = (hash_ ^ word) * MULTIPLY_ONE
    return (hash_ ^ (hash_ >> U32)) * MULTIPLY_TWO


@lean_kernel
def hash_of(words: Any, first: Any, count: Any) -> Any:
    """The hash of a state; its upper half gives the home, its lower half the partition."""
    result = U0
    for number in range(count):
        result = mixed(result, words[first + number])
    return result


@lean_kernel
def line_of(hash_: Any, lines: Any) -> Any:
    """The home line of a hash."""
    return ((hash_ >> U32) * lines) >> U32


@lean_kernel
def insert_word(table: Any, base: Any, lines: Any, word: Any, hash_: Any) -> Any:
    """Put a one-word state into its table, which stands at `base`; whether it is new."""
    line = line_of(hash_, lines)
    stored = word + U1
    while True:
        address = base + line * U64
        if slots_equal(address, stored) != U0:
            return False
        free = slots_equal(address, U0)
        if free != U0:
            table[line * SLOTS + lowest_bit(free)] = stored
            return True
        line += U1


@lean_kernel
def insert_words(
    table: Any,
    base: Any,
    lines: Any,
    states: Any,
    number: Any,
    record: Any,
    at: Any,
    words: Any,
    hash_: Any,
) -> Any:
    """Put a longer state, which would have that number, into its table; whether it is new."""
    line = line_of(hash_, lines)
    while True:
        address = base + line * U64
        similar = upper_halves_equal(address, hash_)
        while similar != U0:
            found = table[line * SLOTS + lowest_bit(similar)] & LOW
            if found != U0 and same_words(states, (found - U1) * words, record, at, words):
                return False
            similar &= similar - U1
        free = slots_equal(address, U0)
        if free != U0:
            table[line * SLOTS + lowest_bit(free)] = (hash_ & ~LOW) | (number + U1)
            return True
        line += U1


@lean_kernel
def same_words(states: Any, first: Any, record: Any, at: Any, words: Any) -> Any:
    """Whether a state that is kept and one that was made are the same."""
    for offset in range(words):
        if states[first + np.uint64(offset)] != record[at + np.uint64(offset)]:
            return False
    return True


@lean_kernel
def note_failure(
    failures: Any, failure: Any, label: Any, number: Any, words: Any, states: Any, level: Any
) -> Any:
    """Count a failing step; of those in the shallowest level keep the state with the least words,
    so that the choice does not depend on the order of work.

    A row of `failures`: count, level plus one, label, words of the state.
    """
    row = failures[failure]
    row[0] += U1
    first = number * words
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


AHEAD = 16
"""States whose lines are asked for ahead of time, a power of two; with more, the first are gone
from the cache."""

FEW = 1 << 10
"""States of a level that are expanded sooner than a level is begun from outside of the kernels."""
TOGETHER = 1 << 18
"""States found in small levels before somebody looks at the clock."""

FEED = 4
"""States of an inbox that are taken up for each state that is expanded."""


@lean_kernel
def expand(  # noqa: C901 - the stages of one pipeline, which share everything
    address: Any,
    seen: Any,
    states: Any,
    shape: Any,
    end: Any,
    table: Any,
    lines: Any,
    most: Any,
    others: Any,
    own: Any,
    outboxes: Any,
    sent: Any,
    inbox: Any,
    arrived: Any,
    records: Any,
    hashes: Any,
    failures: Any,
    level: Any,
    counters: Any,
) -> None:
    """Expand states from `counters[POSITION]` on, until `end` or until there is no room for more.

    New states of the own partition are appended to `states`; those of others go to their outbox.
    The `arrived` states of an inbox are inserted on the way, from `counters[FED]` on, as far as
    they get: waiting for their lines takes no time where successors are made meanwhile.
    What stands in the place of the own outbox is the ring, with the hashes in `hashes`.
    `most` is the number of states at which the table must grow before more may be inserted. `shape`
    is a tuple with an item for each word of a state, `others` one that is empty if there is one
    partition only: their lengths are known when this is compiled.
    """
    words = np.uint64(len(shape))
    width = words + TWO
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    notes, table_at = np.uint64(seen.ctypes.data), np.uint64(table.ctypes.data)
    lines_, most_ = np.uint64(lines), np.uint64(most)
    room = np.uint64(hashes.size)
    ring = room - U1
    room_out = np.uint64(outboxes.shape[1]) // words
    position, last = np.uint64(counters[POSITION]), np.uint64(end)
    filled, transitions = np.uint64(counters[FILLED]), np.uint64(counters[TRANSITIONS])
    mine, owners, ahead = np.uint64(own), np.uint64(sent.size), np.uint64(AHEAD)
    waiting, flat = outboxes[own], outboxes.reshape(outboxes.size)
    stride = np.uint64(outboxes.shape[1])
    made = done = ahead
    sent[own] = ahead
    fed, last_fed, a_state = np.uint64(counters[FED]), np.uint64(arrived), np.uint64(FEED)
    check, unit = transitions + fed, ~(ahead - U1)
    while True:
        # Room for what the ring holds and for what is made until the next look (`ring_size`).
        if transitions + fed >= check:
            check = transitions + fed + room // TWO
            if filled + room > most_ or is_full(sent, own, room_out - room):
                last = position
        stop = made
        if position < last:
            result = call_successors(address, base + position * words * U8, target, notes)
            for number in range(U0, result & COUNT_MASK):
                at = number * width
                label = records[at + words]
                if label & FAILED_BIT:
                    failure = np.int64((label >> FAILURE_BITS) & FAILURE_MASK)
                    note_failure(failures, failure, label & LOW, position, words, states, level)
                    continue
                transitions += U1
                hash_ = hash_of(records, at, words)
                hashes[made & ring] = hash_
                line = table_at + line_of(hash_, lines_) * U64
                if len(others):
                    # Who owns it cannot be predicted, so that chooses places by arithmetic: a
                    # branch, or an expression that becomes one, costs as much as all the rest.
                    owner = owner_of(hash_, owners)
                    owned = np.uint64(owner == mine)
                    place = np.uint64(sent[owner]) & (ring | (owned - U1))
                    sent[owner] += 1
                    row = owner * stride + place * words
                    for offset in range(words):
                        flat[row + offset] = records[at + offset]
                    prefetch(target + (line - target) * owned)
                    made += owned
                else:
                    for offset in range(words):
                        waiting[(made & ring) * words + offset] = records[at + offset]
                    prefetch(line)
                    made += U1
            position += U1
            if len(others):
                until = min(fed + a_state, last_fed)
                while fed < until:
                    hash_ = hash_of(inbox, fed * words, words)
                    hashes[made & ring] = hash_
                    for offset in range(words):
                        waiting[(made & ring) * words + offset] = inbox[fed * words + offset]
                    prefetch(table_at + line_of(hash_, lines_) * U64)
                    made += U1
                    fed += U1
                sent[own] = made
            # How many of them are its own varies: steps of one size can be predicted all the same.
            stop = done + ((made - done - ahead) & unit) if len(others) else made - ahead
        while done < stop:
            place = done & ring
            done += U1
            hash_, at = hashes[place], place * words
            if insert(table, table_at, lines_, states, filled, waiting, at, words, hash_):
                for offset in range(words):
                    states[filled * words + offset] = waiting[at + offset]
                filled += U1
        if done == made and position >= last:
            break
    counters[POSITION], counters[FILLED], counters[TRANSITIONS] = position, filled, transitions
    counters[FED] = fed


@lean_kernel
def expand_small_levels(
    address: Any,
    seen: Any,
    states: Any,
    shape: Any,
    table: Any,
    lines: Any,
    most: Any,
    outboxes: Any,
    sent: Any,
    inbox: Any,
    records: Any,
    hashes: Any,
    failures: Any,
    level: Any,
    counters: Any,
    most_records: Any,
    ends: Any,
) -> None:
    """Expand whole levels of the only partition, one after another, where there are few states in
    each, and room for all that they could lead to. `ends` takes where each ended, and
    `counters[LEVELS]` how many there are.

    A level begins at `counters[POSITION]`. None is begun when as many states as `TOGETHER` have
    been found.
    """
    until = counters[FILLED] + TOGETHER
    for done in range(ends.size):
        end = counters[FILLED]
        fresh = end - counters[POSITION]
        if fresh == 0 or fresh > FEW or end > until:
            break
        if end + fresh * most_records + hashes.size > most:
            break
        expand(
            address, seen, states, shape, end, table, lines, most, (), 0, outboxes, sent, inbox, 0,
            records, hashes, failures, np.uint64(level + done), counters,
        )  # fmt: skip
        ends[done] = end
        counters[LEVELS] = done + 1


@lean_kernel
def is_full(sent: Any, own: Any, most: Any) -> Any:
    """Whether some other partition's outbox holds more than so many states."""
    full = False
    for other in range(sent.size):
        if other != own:
            full = full or np.uint64(sent[other]) > most
    return full


@lean_kernel
def owner_of(hash_: Any, partitions: Any) -> Any:
    """The partition that owns a state."""
    return ((hash_ & LOW) * partitions) >> U32


@lean_kernel
def insert(
    table: Any,
    base: Any,
    lines: Any,
    states: Any,
    number: Any,
    record: Any,
    at: Any,
    words: Any,
    hash_: Any,
) -> Any:
    """Put a state that was made into its table; whether it is new."""
    if words == U1:
        return insert_word(table, base, lines, record[at], hash_)
    return insert_words(table, base, lines, states, number, record, at, words, hash_)


@lean_kernel
def receive(
    inbox: Any,
    count: Any,
    begin: Any,
    states: Any,
    shape: Any,
    table: Any,
    lines: Any,
    most: Any,
    hashes: Any,
    counters: Any,
) -> Any:
    """Insert the states of an inbox from `begin` on; how many of it are done when room runs out."""
    lines_, words = np.uint64(lines), np.uint64(len(shape))
    table_at = np.uint64(table.ctypes.data)
    filled, most_ = np.uint64(counters[FILLED]), np.uint64(most)
    number, last, ahead = np.uint64(begin), np.uint64(count), np.uint64(AHEAD)
    asked, ring = number, np.uint64(hashes.size) - U1
    while number < last and filled < most_:
        while asked < min(number + ahead + ahead, last):
            hash_ = hash_of(inbox, asked * words, words)
            hashes[asked & ring] = hash_
            prefetch(table_at + line_of(hash_, lines_) * U64)
            asked += U1
        stop = min(number + ahead, last, number + most_ - filled)
        while number < stop:
            place, at = number & ring, number * words
            hash_ = hashes[place]
            if insert(table, table_at, lines_, states, filled, inbox, at, words, hash_):
                for offset in range(words):
                    states[filled * words + offset] = inbox[at + offset]
                filled += U1
            number += U1
    counters[FILLED] = filled
    return number


@lean_kernel
def home_of(stored: Any, words: Any, lines: Any) -> Any:
    """The home line of what a slot holds, in a table of so many lines."""
    if words == 1:
        return line_of(mixed(U0, stored - U1), lines)
    return line_of(stored, lines)


@lean_kernel
def put(table: Any, base: Any, stored: Any, home: Any) -> None:
    """Store what is known to be new at the first free slot from its home on."""
    line = home
    free = slots_equal(base + line * U64, U0)
    while free == U0:
        line += U1
        free = slots_equal(base + line * U64, U0)
    table[line * SLOTS + lowest_bit(free)] = stored


RECENT = 64
"""Lines whose filling is remembered while a table grows: more than are filled at any time."""
UNKNOWN = np.uint64(0xFFFFFFFFFFFFFFFF)


@lean_kernel
def count_of(base: Any, line: Any) -> Any:
    """How many slots of a line are full; they stand at its beginning."""
    free = slots_equal(base + line * U64, U0)
    return lowest_bit(free) if free != U0 else SLOTS


@compiled_kernel
def grow(  # noqa: C901 - one pass over the table
    table: Any, old_lines: Any, new_lines: Any, words: Any, aside: Any
) -> Any:
    """Spread a table over more lines, in place; 0, or 1 when it must be filled anew.

    From the end to the beginning every line is emptied, and what was in it is put where it belongs
    now. That is never before the line it was in, except in the first lines, which are set aside
    beforehand and put back last: so what has been put stays, and the lines between a home and
    where its state stands are full, as a search expects.
    """
    base = np.uint64(table.ctypes.data)
    new = np.uint64(new_lines)
    first = min(np.int64(aside.size), np.int64(old_lines) * LINE)
    kept = first
    for slot in range(first):
        aside[slot] = table[slot]
        table[slot] = U0
    moving, homes = np.zeros(LINE, np.uint64), np.zeros(LINE, np.uint64)
    # How far the lines being filled are: looking would wait for what has just been stored there.
    recent, used = np.full(RECENT, UNKNOWN, np.uint64), np.zeros(RECENT, np.uint64)
    for line in range(old_lines + SPARE - 1, first // LINE - 1, -1):
        begin = np.uint64(line * LINE)
        count = count_of(base, np.uint64(line))
        for number in range(count):
            moving[number] = table[begin + number]
            homes[number] = home_of(moving[number], words, new)
            if homes[number] < np.uint64(line):
                return 1
        for slot in range(SLOTS):
            table[begin + slot] = U0
        for number in range(count):
            goal = homes[number]
            while True:
                place = goal % np.uint64(RECENT)
                if recent[place] != goal:
                    recent[place] = goal
                    used[place] = count_of(base, goal)
                if used[place] < SLOTS:
                    break
                goal += U1
            table[goal * SLOTS + used[place]] = moving[number]
            used[place] += U1
    for number in range(kept):
        if aside[number] != U0:
            put(table, base, aside[number], home_of(aside[number], words, new))
    return 0
