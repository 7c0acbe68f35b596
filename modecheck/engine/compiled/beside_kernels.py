"""The inner loops of watchers that follow known transitions.

States are found by a table of `upper half of the hash, number plus one`, with linear probing; its
size is a power of two. Everything is numbered in the order in which it is found.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.compiled.intrinsics import call_successors, call_valuation
from modecheck.engine.compiled.kernels import (
    COUNT_MASK,
    FAILED_BIT,
    LOW,
    U0,
    U1,
    U8,
    U32,
    compiled_kernel,
    mixed,
)

TABLE_SHARE = 2
"""Slots of the table for each state at the least."""


@compiled_kernel
def value_transitions(
    address: Any, states: Any, words: Any, targets: Any, notes: Any, events: Any, values: Any
) -> None:
    """The atoms of all watchers after each transition, as bits; `events` are those of each note."""
    base, width = np.uint64(states.ctypes.data), np.uint64(words) * U8
    for edge in range(targets.size):
        state = base + np.uint64(targets[edge]) * width
        values[edge] = call_valuation(address, state, events[np.int64(notes[edge])])


@compiled_kernel
def value_states(address: Any, states: Any, words: Any, values: Any) -> None:
    """The same in each state, where nothing happens."""
    base, width = np.uint64(states.ctypes.data), np.uint64(words) * U8
    for number in range(values.size):
        values[number] = call_valuation(address, base + np.uint64(number) * width, U0)


@compiled_kernel
def note_obliged(
    first: Any,
    notes: Any,
    obliges: Any,
    failing: Any,
    address: Any,
    states: Any,
    words: Any,
    seen: Any,
    records: Any,
    obliging: Any,
    obliged: Any,
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


@compiled_kernel
def place_of(table: Any, states: Any, bits: Any, state: Any, bit: Any) -> Any:
    """The slot in which a state stands, or that is free for it."""
    hash_ = mixed(mixed(U0, np.uint64(state)), bit)
    last = np.uint64(table.size) - U1
    slot = (hash_ >> U32) & last
    while True:
        kept = table[slot]
        if kept == U0:
            return np.int64(slot)
        if (kept ^ hash_) >> U32 == U0:
            number = (kept & LOW) - U1
            if states[number] == state and bits[number] == bit:
                return np.int64(slot)
        slot = (slot + U1) & last


@compiled_kernel
def fill_anew(table: Any, states: Any, bits: Any, count: Any) -> None:
    """Put the first states into an empty table."""
    for number in range(count):
        slot = place_of(table, states, bits, states[number], bits[number])
        hash_ = mixed(mixed(U0, np.uint64(states[number])), bits[number])
        table[slot] = (hash_ & ~LOW) | np.uint64(number + 1)


@compiled_kernel
def number_of(table: Any, states: Any, bits: Any, state: Any, bit: Any, count: Any) -> Any:
    """The number of a state, which is `count` where it is new; it is added then."""
    slot = place_of(table, states, bits, state, bit)
    if table[slot] != U0:
        return np.int64((table[slot] & LOW) - U1)
    hash_ = mixed(mixed(U0, np.uint64(state)), bit)
    table[slot] = (hash_ & ~LOW) | np.uint64(count + 1)
    states[count], bits[count] = state, bit
    return np.int64(count)


@compiled_kernel
def gone_on(watchers: Any, tables: Any, seen: Any, bits: Any, value: Any) -> Any:
    """All watchers after a step; noted is what was looked up."""
    result = U0
    for number in range(watchers.shape[0]):
        row = watchers[number]
        state = (bits >> row[0]) & row[1]
        place = row[5] + ((state << row[4]) | ((value >> row[2]) & row[3]))
        seen[place] = 1
        result |= np.uint64(tables[place]) << row[0]
    return result


@compiled_kernel
def follow(
    numbers: Any,
    first: Any,
    ends: Any,
    kinds: Any,
    values: Any,
    staying: Any,
    obliged: Any,
    watchers: Any,
    tables: Any,
    choices: Any,
    idle_bit: Any,
    idle_note: Any,
    table: Any,
    states: Any,
    bits: Any,
    count: Any,
    seen: Any,
    counts: Any,
    targets: Any,
    notes: Any,
) -> Any:
    """All transitions of some states, in the order of the compiled engine: those of the product,
    choices of watchers, idling. How many, and how many states are known then.
    """
    made = 0
    for place in range(numbers.size):
        begun = made
        state, bit = states[numbers[place]], bits[numbers[place]]
        if not bit & idle_bit:
            for edge in range(first[np.int64(state)], first[np.int64(state) + 1]):
                after = gone_on(watchers, tables, seen, bit, values[edge])
                number = number_of(table, states, bits, ends[edge], after, count)
                count = max(count, number + 1)
                targets[made], notes[made] = number, kinds[edge]
                made += 1
            for choice in range(choices.shape[0]):
                row = choices[choice]
                if (bit >> row[0]) & row[1] == row[2]:
                    after = bit & ~(row[1] << row[0]) | (row[3] << row[0])
                    number = number_of(table, states, bits, state, after, count)
                    count = max(count, number + 1)
                    targets[made], notes[made] = number, row[4]
                    made += 1
        if bit & idle_bit or not obliged[np.int64(state)]:
            after = gone_on(watchers, tables, seen, bit, staying[np.int64(state)]) | idle_bit
            number = number_of(table, states, bits, state, after, count)
            count = max(count, number + 1)
            targets[made], notes[made] = number, idle_note
            made += 1
        counts[place] = made - begun
    return made, count
