"""Sweeps over all states on a GPU: a thread makes the transitions of a state again, and looks which
lead from one set into another. A set has a bit for each state, the first in the lowest.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.gpu.looking_kernels import (
    PLACES_OF_BORN,
    marked,
    note_slot,
    stepped,
)
from modecheck.engine.gpu.shared_table_kernels import number_in
from modecheck.engine.language.annotations import U8s, U64s
from modecheck.engine.language.gpu_intrinsics import (
    fresh_word,
    least_at,
    set_bits,
    thread_count,
    thread_number,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    LOW,
    TWO,
    U0,
    U1,
    U8,
)
from modecheck.engine.native.transition_making_kernels import EVENT_BITS

WORD_BITS, PLACE = np.uint64(6), np.uint64(63)
"""A state's number tells by its upper bits which word of a set has its bit, and by its lower six
which bit it is."""
AWAY, ONLY_FIRST = 1, 2
"""What a sweep wants: that transitions lead away, that only the first state found is told."""


@Kernel
def has(own: U64s, number: np.uint64) -> Any:
    """Whether a set has a state, as far as is known."""
    return own[number >> WORD_BITS] >> (number & PLACE) & U1 != U0


@Kernel
def put_in(own: U64s, number: np.uint64) -> Any:
    """Put a state into a set; whether it is new there."""
    bit = U1 << (number & PLACE)
    place = np.uint64(own.ctypes.data) + (number >> WORD_BITS) * U8
    if fresh_word(place) & bit:
        return False
    return set_bits(place, bit) & bit == U0


@Kernel
def is_allowed(notes: U64s, allowed: U8s, records: U64s, at: np.uint64, born: np.uint64) -> Any:
    """Whether a step is one that is followed: no failing one, and of a kind that is allowed. Its
    label stands at a place of the records.
    """
    label = records[at]
    if label & FAILED_BIT:
        return False
    happened = label >> FAILURE_BITS | (label & LOW) << EVENT_BITS
    return allowed[note_slot(notes, happened, records[at + U1], born)] != 0


@Kernel
def sweep_sources(
    shape: tuple[int, ...],
    count: int,
    what: int,
    states: U64s,
    seen: U8s,
    table: U64s,
    notes: U64s,
    allowed: U8s,
    of: U64s,
    into: U64s,
    out: U64s,
    found: U64s,
    records: U64s,
) -> None:
    """Put the states of a set that have an allowed transition into another set, into `out`, the
    last ones first: where `out` is that other set, states before them see it at once. `found` has
    how many are new, and the first. An empty set stands for all states.
    """
    words, thread = np.uint64(len(shape)), thread_number()
    while thread < np.uint64(count):
        number = np.uint64(count) - U1 - thread
        thread += thread_count()
        if has(out, number) or (len(of) > 0 and not has(of, number)):
            continue
        result = stepped(states, number * words, records, seen)
        for one in range(result & COUNT_MASK):
            at = one * (words + TWO)
            born = (number << PLACES_OF_BORN) | one
            if not is_allowed(notes, allowed, records, at + words, born):
                continue
            target = number
            if len(into) > 0 or what & AWAY:
                target = number_in(shape, states, table, records, at) - U1
            if what & AWAY and target == number:
                continue
            if len(into) == 0 or has(into, target):
                if put_in(out, number):
                    found[0] = U1
                least_at(np.uint64(found.ctypes.data) + U8, number)
                break


@Kernel
def sweep_targets(
    shape: tuple[int, ...],
    count: int,
    states: U64s,
    seen: U8s,
    table: U64s,
    of: U64s,
    without: U64s,
    out: U64s,
    records: U64s,
) -> None:
    """Put the states behind the transitions of a set into `out`, but those of another set."""
    words, number = np.uint64(len(shape)), thread_number()
    while number < np.uint64(count):
        if has(of, number):
            result = stepped(states, number * words, records, seen)
            for one in range(result & COUNT_MASK):
                at = one * (words + TWO)
                if records[at + words] & FAILED_BIT == U0:
                    target = number_in(shape, states, table, records, at) - U1
                    if not has(without, target):
                        put_in(out, target)
        number += thread_count()


@Kernel
def find_source(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    goal: int,
    states: U64s,
    seen: U8s,
    of: U64s,
    found: U64s,
    records: U64s,
) -> None:
    """The first of the states from `begin` to `end`, and of a set unless it is empty, that has a
    transition to the state `goal`.
    """
    words, number = np.uint64(len(shape)), np.uint64(begin) + thread_number()
    wanted = np.uint64(goal) * words
    while number < np.uint64(end):
        if len(of) == 0 or has(of, number):
            result = stepped(states, number * words, records, seen)
            for one in range(result & COUNT_MASK):
                at = one * (words + TWO)
                same = records[at + words] & FAILED_BIT == U0
                for offset in range(words):
                    if records[at + offset] != states[wanted + offset]:
                        same = False
                if same:
                    least_at(np.uint64(found.ctypes.data) + U8, number)
        number += thread_count()


@Kernel
def select_marked(
    shape: tuple[int, ...],
    count: int,
    some: np.uint64,
    lacking: np.uint64,
    states: U64s,
    out: U64s,
) -> None:
    """Put the states with some of these marks, or that lack some of those, into a set."""
    words, number = np.uint64(len(shape)), thread_number()
    while number < np.uint64(count):
        own = marked(states, number * words)
        if own & some or lacking & ~own:
            put_in(out, number)
        number += thread_count()


@Kernel
def combine(into: U64s, other: U64s, joins: bool, drops: bool) -> None:
    """Put the states of another set into one, take them out of it, or leave only them."""
    place = thread_number()
    while place < np.uint64(len(into)):
        if joins:
            into[place] |= other[place]
        elif drops:
            into[place] &= ~other[place]
        else:
            into[place] &= other[place]
        place += thread_count()
