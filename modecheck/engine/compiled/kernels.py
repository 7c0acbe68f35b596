"""The inner loops of the compiled engine, fixed for all products and compiled once.

A table is an array of slots with open addressing and linear probing. The home of a state is
`hash * size / 2^32`, which grows with the hash: so a table is grown in place, from its end to its
beginning, and probes never wrap round (a stretch of spare slots follows the last home).

States of one word stand in the table themselves, plus one, so that 0 is an empty slot. Of longer
states the table holds the upper half of the hash and the number of the state, plus one.

Successors are made in batches: the slot that each will be looked for in is asked for ahead of time,
so that the memory's latency is paid once a batch, not once a transition.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from modecheck.engine.compiled.frame import DRIVEN, FAILURE_SHIFT
from modecheck.engine.compiled.intrinsics import call_successors, prefetch

U0 = np.uint64(0)
U1 = np.uint64(1)
U8 = np.uint64(8)
U32 = np.uint64(32)
LOW = np.uint64(0xFFFFFFFF)
MULTIPLY_ONE = np.uint64(0x9E3779B97F4A7C15)
MULTIPLY_TWO = np.uint64(0xD6E8FEB86659FD93)
"""Odd constants with well-mixed bits: the golden ratio's, and one in common use for mixing."""
FAILED_BIT = np.uint64(1 << 63)
FAILURE_MASK = np.uint64(0x7FFFFFFF)
FAILURE_BITS = np.uint64(FAILURE_SHIFT)
COUNT_MASK = np.uint64(DRIVEN - 1)

SPARE = 1 << 16
"""Slots behind the last home, for probes that run on; far more than the longest run seen."""

POSITION, FILLED, TRANSITIONS = 0, 1, 2
"""Places in the array of counters that a kernel goes on from when it is called again."""

compiled_kernel: Any = njit(nogil=True, cache=True, boundscheck=False)


@compiled_kernel
def mixed(hash_: Any, word: Any) -> Any:
    """One more word mixed into a hash."""
    hash_ = (hash_ ^ word) * MULTIPLY_ONE
    hash_ = (hash_ ^ (hash_ >> U32)) * MULTIPLY_TWO
    return hash_ ^ (hash_ >> U32)


@compiled_kernel
def hash_of(words: Any, first: Any, count: Any) -> Any:
    """The hash of a state; its upper half gives the home, its lower half the partition."""
    result = U0
    for number in range(count):
        result = mixed(result, words[first + number])
    return result * MULTIPLY_ONE


@compiled_kernel
def insert_word(table: Any, size: Any, word: Any, hash_: Any) -> Any:
    """Put a one-word state into its table; whether it is new."""
    slot = ((hash_ >> U32) * size) >> U32
    stored = word + U1
    while True:
        found = table[slot]
        if found == stored:
            return False
        if found == U0:
            table[slot] = stored
            return True
        slot += U1


@compiled_kernel
def insert_words(
    table: Any, size: Any, states: Any, number: Any, record: Any, at: Any, words: Any, hash_: Any
) -> Any:
    """Put a longer state, which would have that number, into its table; whether it is new."""
    tag = hash_ & ~LOW
    slot = ((hash_ >> U32) * size) >> U32
    while True:
        found = table[slot]
        if found == U0:
            table[slot] = tag | (number + U1)
            return True
        if found & ~LOW == tag:
            first = ((found & LOW) - U1) * words
            same = True
            for offset in range(words):
                if states[first + np.uint64(offset)] != record[at + np.uint64(offset)]:
                    same = False
                    break
            if same:
                return False
        slot += U1


@compiled_kernel
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


@compiled_kernel
def expand(  # noqa: C901 - the stages of one batch, which share everything
    address: Any,
    seen: Any,
    states: Any,
    words: Any,
    end: Any,
    table: Any,
    size: Any,
    most: Any,
    partitions: Any,
    own: Any,
    outboxes: Any,
    sent: Any,
    records: Any,
    hashes: Any,
    most_records: Any,
    failures: Any,
    level: Any,
    counters: Any,
) -> None:
    """Expand states from `counters[POSITION]` on, until `end` or until there is no room for more.

    New states of the own partition are appended to `states`; those of others go to their outbox.
    `most` is the number of states at which the table must grow before more may be inserted.
    """
    width = words + 2
    state_bytes = np.uint64(words) * U8
    base = np.uint64(states.ctypes.data)
    target = np.uint64(records.ctypes.data)
    notes = np.uint64(seen.ctypes.data)
    slots = np.uint64(table.ctypes.data)
    wide = np.uint64(words)
    size_ = np.uint64(size)
    room = records.size // width
    room_out = outboxes.shape[1] // words
    position, filled, transitions = counters[POSITION], counters[FILLED], counters[TRANSITIONS]
    while position < end and filled + room <= most:
        full = False
        for other in range(partitions):
            if sent[other] + room > room_out and other != own:
                full = True
        if full:
            break
        made = 0
        while position < end and made + most_records <= room:
            result = call_successors(
                address,
                base + np.uint64(position) * state_bytes,
                target + np.uint64(made * width) * U8,
                notes,
            )
            count = np.int64(result & COUNT_MASK)
            kept = made
            for number in range(made, made + count):
                at = number * width
                label = records[at + words]
                if label & FAILED_BIT:
                    failure = np.int64((label >> FAILURE_BITS) & FAILURE_MASK)
                    note_failure(
                        failures, failure, label & LOW, np.uint64(position), wide, states, level
                    )
                    continue
                hash_ = hash_of(records, at, words)
                prefetch(slots + (((hash_ >> U32) * size_) >> U32) * U8)
                hashes[kept] = hash_
                if kept != number:
                    for offset in range(width):
                        records[kept * width + offset] = records[at + offset]
                kept += 1
            made = kept
            position += 1
        transitions += made
        for number in range(made):
            hash_ = hashes[number]
            at = number * width
            owner = np.int64((hash_ & LOW) % np.uint64(partitions)) if partitions > 1 else own
            if owner != own:
                first = sent[owner] * words
                for offset in range(words):
                    outboxes[owner, first + offset] = records[at + offset]
                sent[owner] += 1
            elif words == 1:
                if insert_word(table, size_, records[at], hash_):
                    states[filled] = records[at]
                    filled += 1
            elif insert_words(
                table, size_, states, np.uint64(filled), records, np.uint64(at), wide, hash_
            ):
                for offset in range(words):
                    states[filled * words + offset] = records[at + offset]
                filled += 1
    counters[POSITION], counters[FILLED], counters[TRANSITIONS] = position, filled, transitions


AHEAD = 24
"""States of an inbox whose slots are asked for ahead of time."""


@compiled_kernel
def receive(
    inbox: Any,
    count: Any,
    begin: Any,
    states: Any,
    words: Any,
    table: Any,
    size: Any,
    most: Any,
    counters: Any,
) -> Any:
    """Insert the states of an inbox from `begin` on; how many of it are done when room runs out."""
    size_, wide = np.uint64(size), np.uint64(words)
    slots = np.uint64(table.ctypes.data)
    filled = counters[FILLED]
    number = begin
    for early in range(begin, min(begin + AHEAD, count)):
        hash_ = hash_of(inbox, early * words, words)
        prefetch(slots + (((hash_ >> U32) * size_) >> U32) * U8)
    while number < count and filled < most:
        if number + AHEAD < count:
            hash_ = hash_of(inbox, (number + AHEAD) * words, words)
            prefetch(slots + (((hash_ >> U32) * size_) >> U32) * U8)
        at = number * words
        hash_ = hash_of(inbox, at, words)
        if words == 1:
            if insert_word(table, size_, inbox[at], hash_):
                states[filled] = inbox[at]
                filled += 1
        elif insert_words(
            table, size_, states, np.uint64(filled), inbox, np.uint64(at), wide, hash_
        ):
            for offset in range(words):
                states[filled * words + offset] = inbox[at + offset]
            filled += 1
        number += 1
    counters[FILLED] = filled
    return number


@compiled_kernel
def home_of(stored: Any, words: Any, size: Any) -> Any:
    """The home of what a slot holds, in a table of some size."""
    if words == 1:
        word = stored - U1
        upper = (mixed(U0, word) * MULTIPLY_ONE) >> U32
    else:
        upper = stored >> U32
    return (upper * size) >> U32


@compiled_kernel
def grow(table: Any, old_size: Any, new_size: Any, words: Any, aside: Any) -> Any:
    """Spread a table over more slots, in place; 0, or 1 when `aside` is too small.

    From the end to the beginning every entry moves up, or stays: its new home is not before its
    slot as long as it stands at most half its slot's number behind its old home. The first slots,
    where that may not be so, are emptied into `aside` beforehand and put back last.
    """
    new = np.uint64(new_size)
    kept = 0
    first = min(np.int64(aside.size), np.int64(old_size))
    for slot in range(first):
        if table[slot] != U0:
            aside[kept] = table[slot]
            table[slot] = U0
            kept += 1
    for slot in range(old_size + SPARE - 1, first - 1, -1):
        stored = table[slot]
        if stored == U0:
            continue
        if np.int64(home_of(stored, words, new)) < slot:
            return 1
        table[slot] = U0
        goal = home_of(stored, words, new)
        while table[goal] != U0:
            goal += U1
        table[goal] = stored
    for number in range(kept):
        goal = home_of(aside[number], words, new)
        while table[goal] != U0:
            goal += U1
        table[goal] = aside[number]
    return 0
