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
from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s
from modecheck.engine.language.gpu_intrinsics import (
    add_to,
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
AWAY, ENDS = 1, 2
"""What a sweep wants: that transitions lead away; states that have none, by which `out` grows and
the set that they lead into shrinks."""


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
def gained(states: U64s, first: np.uint64, records: U64s, at: np.uint64, gains: np.uint64) -> Any:
    """Those of the marks `gains` that a step gains: its target has them, and its source has not."""
    if gains == U0:
        return U0
    return marked(records, at) & ~marked(states, first) & gains


@Kernel
def leads_into(
    shape: tuple[int, ...],
    number: np.uint64,
    what: int,
    gains: np.uint64,
    states: U64s,
    seen: U8s,
    table: U64s,
    notes: U64s,
    allowed: U8s,
    into: U64s,
    out: U64s,
    records: U64s,
) -> Any:
    """Whether a state has a transition that is followed into a set, which is all states if it is
    empty; with `ENDS`, without those in `out`.
    """
    words = np.uint64(len(shape))
    result = stepped(states, number * words, records, seen)
    for one in range(result & COUNT_MASK):
        at = one * (words + TWO)
        born = (number << PLACES_OF_BORN) | one
        if not is_allowed(notes, allowed, records, at + words, born):
            continue
        if gained(states, number * words, records, at, gains):
            continue
        target = number
        if len(into) > 0 or what & AWAY:
            target = number_in(shape, states, table, records, at) - U1
        if what & AWAY and target == number:
            continue
        if len(into) == 0 or (has(into, target) and not (what & ENDS and has(out, target))):
            return True
    return False


@Kernel
def sweep_sources(
    shape: tuple[int, ...],
    count: int,
    what: int,
    gains: np.uint64,
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
    """Put the states of a set that have a followed transition into another set, into `out`, or with
    `ENDS` those that have none, the last ones first: where `out` changes what is asked, states
    before them see it at once. `found` has whether some are new, and the first. An empty set stands
    for all states.
    """
    thread = thread_number()
    while thread < np.uint64(count):
        number = np.uint64(count) - U1 - thread
        thread += thread_count()
        if has(out, number) or (len(of) > 0 and not has(of, number)):
            continue
        leads = leads_into(
            shape, number, what, gains, states, seen, table, notes, allowed, into, out, records
        )
        if leads != (what & ENDS != 0):
            if put_in(out, number):
                found[0] = U1
            least_at(np.uint64(found.ctypes.data) + U8, number)


@Kernel
def sweep_targets(
    shape: tuple[int, ...],
    count: int,
    what: int,
    gains: np.uint64,
    states: U64s,
    seen: U8s,
    table: U64s,
    notes: U64s,
    allowed: U8s,
    of: U64s,
    without: U64s,
    out: U64s,
    records: U64s,
) -> None:
    """Put the states behind the followed transitions of a set into `out`, but those of another
    set.
    """
    words, number = np.uint64(len(shape)), thread_number()
    while number < np.uint64(count):
        if has(of, number):
            result = stepped(states, number * words, records, seen)
            for one in range(result & COUNT_MASK):
                at = one * (words + TWO)
                born = (number << PLACES_OF_BORN) | one
                if not is_allowed(notes, allowed, records, at + words, born):
                    continue
                if gained(states, number * words, records, at, gains):
                    continue
                target = number_in(shape, states, table, records, at) - U1
                if not (has(without, target) or (what & AWAY and target == number)):
                    put_in(out, target)
        number += thread_count()


@Kernel
def list_transitions(
    shape: tuple[int, ...],
    count: int,
    makes: bool,
    states: U64s,
    seen: U8s,
    table: U64s,
    notes: U64s,
    numbers: U16s,
    of: U32s,
    first: I64s,
    targets: U32s,
    kinds: U16s,
    records: U64s,
) -> None:
    """How many transitions each of the first `count` states of a list has, behind the 0 in `first`;
    or, when these are added up, make them there: to which state, and of which kind, by the
    `numbers` of the rows in `notes`.
    """
    words, place = np.uint64(len(shape)), thread_number()
    while place < np.uint64(count):
        number = np.uint64(of[place])
        result = stepped(states, number * words, records, seen)
        made = first[place] if makes else np.int64(0)
        for one in range(result & COUNT_MASK):
            at = one * (words + TWO)
            label = records[at + words]
            if label & FAILED_BIT:
                continue
            if makes:
                happened = label >> FAILURE_BITS | (label & LOW) << EVENT_BITS
                born = (number << PLACES_OF_BORN) | one
                slot = note_slot(notes, happened, records[at + words + U1], born)
                kinds[made] = numbers[slot]
                targets[made] = np.uint32(number_in(shape, states, table, records, at) - U1)
            made += 1
        if not makes:
            first[place + U1] = made
        place += thread_count()


@Kernel
def find_source(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    goal: int,
    states: U64s,
    seen: U8s,
    found: U64s,
    records: U64s,
) -> None:
    """The first of the states from `begin` to `end` that has a transition to the state `goal`."""
    words, number = np.uint64(len(shape)), np.uint64(begin) + thread_number()
    wanted = np.uint64(goal) * words
    while number < np.uint64(end):
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
def select_valued(
    count: int,
    words: int,
    word: int,
    shift: np.uint64,
    flags: U8s,
    states: U64s,
    out: U64s,
) -> None:
    """Put the states into a set whose field has a value that is flagged: the field is stored in one
    of the words of a state, above so many bits, and has as many values as there are flags.
    """
    number, mask = thread_number(), np.uint64(len(flags) - 1)
    while number < np.uint64(count):
        value = states[number * np.uint64(words) + np.uint64(word)] >> shift & mask
        if flags[value]:
            put_in(out, number)
        number += thread_count()


@Kernel
def count_members(own: U64s, found: U64s) -> None:
    """Add to `found` how many states a set has."""
    place, members = thread_number(), U0
    while place < np.uint64(len(own)):
        word = own[place]
        while word:
            word &= word - U1
            members += U1
        place += thread_count()
    add_to(np.uint64(found.ctypes.data), members)


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
