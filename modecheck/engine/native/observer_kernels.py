"""The inner loops of observers that follow known transitions.

States are found by a table of `upper half of the hash, number plus one`, with linear probing; its
size is a power of two. Everything is numbered in the order in which it is found.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64Rows, U64s
from modecheck.engine.language.intrinsics import call_successors, call_valuation, prefetch
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import COUNT_MASK, FAILED_BIT, LOW, TWO, U0, U1, U8, U32
from modecheck.engine.native.table_kernels import mixed

TABLE_SHARE = 2
"""Slots of the table for each state at the least."""


@Kernel
def value_transitions(
    address: int, states: U64s, words: int, targets: U32s, notes: U16s, events: U64s, values: Any
) -> None:
    """The atoms of all observers after each transition, as bits; `events` are those of
    each note.
    """
    base, width = np.uint64(states.ctypes.data), np.uint64(words) * U8
    for edge in range(targets.size):
        state = base + np.uint64(targets[edge]) * width
        values[edge] = call_valuation(address, state, events[np.int64(notes[edge])])


@Kernel
def value_states(address: int, states: U64s, words: int, values: Any) -> None:
    """The same in each state, where nothing happens."""
    base, width = np.uint64(states.ctypes.data), np.uint64(words) * U8
    for number in range(values.size):
        values[number] = call_valuation(address, base + np.uint64(number) * width, U0)


@Kernel
def note_obliged(
    first: I64s,
    notes: U16s,
    obliges: U8s,
    failing: U8s,
    address: int,
    states: U64s,
    words: int,
    seen: U8s,
    records: U64s,
    obliging: U8s,
    obliged: U8s,
) -> None:
    """Flag the states with a step that has to happen in the end, by the notes that say so; a step
    that fails is no transition, and is made once more.
    """
    base, out = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at, width = np.uint64(seen.ctypes.data), words + 2
    for number in range(obliged.size):
        for edge in range(first[number], first[number + 1]):
            if obliges[np.int64(notes[edge])]:
                obliged[number] = 1
                break
        if not obliged[number] and failing[number]:
            state = base + np.uint64(number * words) * U8
            made = call_successors(address, state, out, seen_at) & COUNT_MASK
            for record in range(np.int64(made)):
                label = records[record * width + words]
                if label & FAILED_BIT and obliging[np.int64(label & LOW)]:
                    obliged[number] = 1


@Kernel
def hash_of_both(state: np.uint64, bits: np.uint64) -> Any:
    """The hash of a state of the product and of those of the observers."""
    return mixed(mixed(U0, state), bits)


@Kernel
def fill_anew(table: U64s, kept: U64Rows, count: int) -> None:
    """Put the first states into an empty table."""
    last = np.uint64(table.size) - U1
    for number in range(count):
        hash_ = hash_of_both(kept[number, 0], kept[number, 1])
        slot = (hash_ >> U32) & last
        while table[slot] != U0:
            slot = (slot + U1) & last
        table[slot] = (hash_ & ~LOW) | np.uint64(number + 1)


@Kernel
def number_of(
    table: U64s,
    kept: U64Rows,
    state: np.uint64,
    bits: np.uint64,
    hash_: np.uint64,
    count: np.uint64,
) -> Any:
    """The number of a state, which is `count` where it is new; it is added then."""
    last = np.uint64(table.size) - U1
    slot = (hash_ >> U32) & last
    while True:
        found = table[slot]
        if found == U0:
            table[slot] = (hash_ & ~LOW) | (count + U1)
            kept[count, 0], kept[count, 1] = state, bits
            return count
        if (found ^ hash_) >> U32 == U0:
            number = (found & LOW) - U1
            if kept[number, 0] == state and kept[number, 1] == bits:
                return number
        slot = (slot + U1) & last


@Kernel
def gone_on(observers: U64Rows, tables: U64s, seen: U8s, bits: np.uint64, value: np.uint64) -> Any:
    """All observers after a step; noted is what was looked up."""
    result = U0
    for number in range(observers.shape[0]):
        shift, mask = observers[number, 0], observers[number, 1]
        state = (bits >> shift) & mask
        atoms = (value >> observers[number, 2]) & observers[number, 3]
        place = observers[number, 5] + ((state << observers[number, 4]) | atoms)
        seen[place] = 1
        result |= tables[place] << shift
    return result


@Kernel
def follow(
    numbers: I64s,
    first: I64s,
    ends: U32s,
    kinds: U16s,
    values: Any,
    staying: Any,
    obliged: U8s,
    observers: U64Rows,
    tables: U64s,
    choices: U64Rows,
    idle_bit: np.uint64,
    idle_note: int,
    table: U64s,
    kept: U64Rows,
    known: int,
    seen: U8s,
    batch: U64Rows,
    counts: U32s,
    targets: U32s,
    notes: U16s,
) -> Any:
    """All transitions of some states, in the order of the compiled engine: those of the product,
    choices of observers, idling. How many, and how many states are known then.

    A row of `kept` is a state: that of the product, those of the observers. What is behind a state
    waits in `batch` (state, observers, hash) until what it is compared with is in the cache.
    """
    made, count = 0, np.uint64(known)
    last, table_at = np.uint64(table.size) - U1, np.uint64(table.ctypes.data)
    kept_at = np.uint64(kept.ctypes.data)
    for place in range(numbers.size):
        state, bits = kept[numbers[place], 0], kept[numbers[place], 1]
        own, some = np.int64(state), 0
        if not bits & idle_bit:
            for edge in range(first[own], first[own + 1]):
                batch[some, 0] = ends[edge]
                batch[some, 1] = gone_on(observers, tables, seen, bits, np.uint64(values[edge]))
                notes[made + some] = kinds[edge]
                some += 1
            for choice in range(choices.shape[0]):
                shift, mask = choices[choice, 0], choices[choice, 1]
                if (bits >> shift) & mask == choices[choice, 2]:
                    batch[some, 0] = state
                    batch[some, 1] = bits & ~(mask << shift) | (choices[choice, 3] << shift)
                    notes[made + some] = choices[choice, 4]
                    some += 1
        if bits & idle_bit or not obliged[own]:
            batch[some, 0] = state
            after = gone_on(observers, tables, seen, bits, np.uint64(staying[own]))
            batch[some, 1] = after | idle_bit
            notes[made + some] = idle_note
            some += 1
        for one in range(some):
            hash_ = hash_of_both(batch[one, 0], batch[one, 1])
            batch[one, 2] = hash_
            prefetch(table_at + ((hash_ >> U32) & last) * U8)
        for one in range(some):
            found = table[(batch[one, 2] >> U32) & last]
            prefetch(kept_at + (found & LOW) * U8 * TWO)
        for one in range(some):
            number = number_of(table, kept, batch[one, 0], batch[one, 1], batch[one, 2], count)
            count = max(count, number + U1)
            targets[made + one] = number
        counts[place] = some
        made += some
    return made, count
