"""The inner loops that decide what one observer finds, along transitions that are known.

A state is one of the product, and the family of the observer's states that it is in, twice, plus
one where it idles; `own` holds the strictest state of that family found so far. Where a stricter
one is found, it takes the other's place, and what is behind it is looked at again.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64Rows, U64s
from modecheck.engine.language.intrinsics import prefetch
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import LOW, TWO, U0, U1, U8, U32
from modecheck.engine.native.observer_kernels import hash_of_both, number_of
from modecheck.engine.native.verdict_automaton import ALIVE, BAD, SETTLED

AT, COUNT, REOPENED = range(3)
"""Places in the array of counters that a search goes on from."""
COUNTERS = 3
WAITS = np.uint32(1 << 31)
"""Flag of a state that is to be looked at again."""
STATE = np.uint32((1 << 31) - 1)


def is_done(counters: I64s, found: U8s) -> bool:
    """Whether nothing is left to be looked at, or need be."""
    left = counters[AT] < counters[COUNT] or counters[REOPENED] > 0
    return not left or bool(found[0] & BAD)


@Kernel
def waiting_for(
    state: np.uint64, after: np.uint32, idles: np.uint64, table: U64s, families: U32s, flags: U8s,
    found: U8s, batch: U64Rows, some: int,
) -> Any:  # fmt: skip
    """Put what is behind a step into `batch`, unless nothing can matter there."""
    what = flags[after]
    found[0] |= what
    if what & SETTLED:
        return some
    key = (np.uint64(families[after]) << U1) | idles
    hash_ = hash_of_both(state, key)
    batch[some, 0], batch[some, 1], batch[some, 2] = state, key, hash_
    batch[some, 3] = np.uint64(after)
    slot = (hash_ >> U32) & (np.uint64(table.size) - U1)
    prefetch(np.uint64(table.ctypes.data) + slot * U8)
    return some + 1


@Kernel
def decide(  # noqa: C901 - one search, with what is done to each state
    first: I64s,
    ends: U32s,
    values: Any,
    staying: Any,
    obliged: U8s,
    atoms: np.uint64,
    after: U32s,
    other: U32s,
    idle_other: U32s,
    families: U32s,
    ranks: U32s,
    flags: U8s,
    table: U64s,
    kept: U64Rows,
    own: U32s,
    again: U32s,
    seen: U8s,
    batch: U64Rows,
    found: U8s,
    counters: I64s,
    room: int,
    most: int,
) -> None:
    """Go on until all is known, something bad is found, `most` states were looked at or there are
    `room` of them. `seen` flags the places of the automaton's table that were looked up.
    """
    at, count = counters[AT], counters[COUNT]
    reopened = counters[REOPENED]
    kept_at, last = np.uint64(kept.ctypes.data), np.uint64(table.size) - U1
    while most > 0 and count < room and (at < count or reopened > 0) and found[0] & BAD == 0:
        most -= 1
        if reopened > 0:
            reopened -= 1
            place: Any = np.int64(again[reopened])
            own[place] &= STATE
        else:
            place = at
            at += 1
        state, idles = np.int64(kept[place, 0]), kept[place, 1] & U1
        before, some = np.uint64(own[place]) << atoms, 0
        if idles == U0:
            for edge in range(first[state], first[state + 1]):
                index = before | np.uint64(values[edge])
                seen[index] = 1
                end = np.uint64(ends[edge])
                some = waiting_for(
                    end, after[index], U0, table, families, flags, found, batch, some
                )
                if other[index] != after[index]:
                    some = waiting_for(
                        end, other[index], U0, table, families, flags, found, batch, some
                    )
        if idles != U0 or obliged[state] == 0:
            index = before | np.uint64(staying[state])
            seen[index] = 1
            stays = np.uint64(state)
            some = waiting_for(stays, after[index], U1, table, families, flags, found, batch, some)
            if idles == U0 and idle_other[index] != after[index]:
                some = waiting_for(
                    stays, idle_other[index], U1, table, families, flags, found, batch, some
                )
        for one in range(some):
            filled = table[(batch[one, 2] >> U32) & last]
            prefetch(kept_at + (filled & LOW) * U8 * TWO)
        for one in range(some):
            number = np.int64(
                number_of(
                    table, kept, batch[one, 0], batch[one, 1], batch[one, 2], np.uint64(count)
                )
            )
            reached = np.uint32(batch[one, 3])
            if number == count:
                own[number] = reached
                count += 1
            elif ranks[reached] < ranks[own[number] & STATE]:
                if number < at and own[number] & WAITS == 0:
                    again[reopened] = np.uint32(number)
                    reopened += 1
                own[number] = reached | WAITS if number < at else reached
    counters[AT], counters[COUNT], counters[REOPENED] = at, count, reopened


@Kernel
def link_alive(
    numbers: I64s,
    places: U32s,
    first: I64s,
    ends: U32s,
    kinds: U16s,
    values: Any,
    staying: Any,
    obliged: U8s,
    atoms: np.uint64,
    after: U32s,
    families: U32s,
    flags: U8s,
    idle_note: int,
    table: U64s,
    kept: U64Rows,
    own: U32s,
    count: int,
    begins: I64s,
    targets: U32s,
    notes: U16s,
) -> Any:
    """The transitions of the states that stay alive: to each other by their `places`, to any other
    state by their number. How many.
    """
    made: Any = 0
    for one in range(numbers.size):
        number = numbers[one]
        state, idles = np.int64(kept[number, 0]), kept[number, 1] & U1
        before = np.uint64(own[number]) << atoms
        begins[one] = made
        begin, end = first[state], first[state + 1]
        if idles != U0:
            end = begin
        edge = begin
        while edge < end or (edge == end and (idles != U0 or obliged[state] == 0)):
            goal, idle, valuation = np.uint64(state), U1, np.uint64(staying[state])
            note: Any = idle_note
            if edge < end:
                goal, idle, note = np.uint64(ends[edge]), U0, np.int64(kinds[edge])
                valuation = np.uint64(values[edge])
            reached = after[before | valuation]
            targets[made] = np.uint32(numbers.size)
            if flags[reached] & ALIVE:
                key = (np.uint64(families[reached]) << U1) | idle
                hash_ = hash_of_both(goal, key)
                targets[made] = places[
                    np.int64(number_of(table, kept, goal, key, hash_, np.uint64(count)))
                ]
            notes[made] = np.uint16(note)
            made += 1
            edge += 1
    begins[numbers.size] = made
    return made
