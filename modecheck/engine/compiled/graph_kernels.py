"""The inner loops over the graph of transitions: building it, and searching it in both directions.

States are numbered by depth and, within a depth, by their words. The transitions of state `i` are
`first[i]` to `first[i + 1] - 1` in `targets` and `notes`; transposed, those into it are
`into[i]` to `into[i + 1] - 1` in `sources` and `notes_into`, sources in ascending order.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.compiled.frame import DRIVEN
from modecheck.engine.compiled.kernels import (
    AHEAD,
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    LOW,
    SLOTS,
    U0,
    U1,
    U8,
    U32,
    U64,
    hash_of,
    line_of,
    put,
    same_words,
)
from modecheck.engine.compiled.language.annotations import I64s, U8s, U16s, U32s, U64Rows, U64s
from modecheck.engine.compiled.language.intrinsics import (
    call_marks,
    call_successors,
    lowest_bit,
    prefetch,
    slots_equal,
    upper_halves_equal,
)
from modecheck.engine.compiled.language.kernel import Kernel

UNREACHED = np.uint32(0xFFFFFFFF)
"""Stands for no state in arrays of state numbers."""
START = np.uint32(0xFFFFFFFE)
"""Stands for the state before a start."""
DRIVEN_BIT = np.uint64(DRIVEN)
EVENT_BITS = np.uint64(31)
"""Bits of what happened in a note; the label stands above them."""
MOST_NOTES = 0xFFFF
"""Kinds of transitions that a 16-bit number can tell apart."""


@Kernel
def index_states(states: U64s, words: int, count: int, table: U64s, lines: int) -> None:
    """Fill a table with the upper half of each state's hash and its number, plus one."""
    base, lines_ = np.uint64(table.ctypes.data), np.uint64(lines)
    for number in range(count):
        # The line of a later state is asked for now, so that `put` need not wait for memory.
        if number + AHEAD < count:
            early = hash_of(states, (number + AHEAD) * words, words)
            prefetch(base + line_of(early, lines_) * U64)
        hash_ = hash_of(states, number * words, words)
        stored = (hash_ & ~LOW) | np.uint64(number + 1)
        put(table, stored, line_of(hash_, lines_))


@Kernel
def number_of(
    states: U64s,
    words: np.uint64,
    table: U64s,
    base: np.uint64,
    lines: np.uint64,
    record: U64s,
    at: np.uint64,
    hash_: np.uint64,
) -> Any:
    """The number of a state that is in the table, or -1."""
    line = line_of(hash_, lines)
    while True:
        address = base + line * U64
        similar = upper_halves_equal(address, hash_)
        while similar != U0:
            found = table[line * SLOTS + lowest_bit(similar)] & LOW
            # The table keeps numbers, not states, so each hit costs a look at the state itself.
            if found != U0 and same_words(states, (found - U1) * words, record, at, words):
                return np.int64(found) - 1
            similar &= similar - U1
        if slots_equal(address, U0) != U0:
            return -1
        line += U1


@Kernel
def mark_states(address: int, states: U64s, words: int, count: int, marks: U64s) -> None:
    """The conditions that hold in each state, as bits."""
    base = np.uint64(states.ctypes.data)
    for number in range(count):
        marks[number] = call_marks(address, base + np.uint64(number * words) * U8)


@Kernel
def note_number(note_table: U64Rows, moved: np.uint64, happened: np.uint64, known: I64s) -> Any:
    """The number of a pair of moved chips and what happened (label and events); a new pair is
    added. -1 when there are too many.

    `note_table` has rows of moved, happened, number plus one.
    """
    size = note_table.shape[0]
    slot: Any = np.int64(hash_pair(moved, happened) % np.uint64(size))
    for _ in range(size):
        if note_table[slot, 2] == U0:
            if known[0] >= MOST_NOTES:
                return -1
            note_table[slot, 0], note_table[slot, 1] = moved, happened
            known[0] += 1
            note_table[slot, 2] = np.uint64(known[0])
            return known[0] - 1
        if note_table[slot, 0] == moved and note_table[slot, 1] == happened:
            return np.int64(note_table[slot, 2]) - 1
        slot += 1
        if slot == size:
            slot = 0
    return -1


@Kernel
def hash_pair(one: np.uint64, two: np.uint64) -> Any:
    mixed = (one * np.uint64(0x9E3779B97F4A7C15)) ^ (two * np.uint64(0xC2B2AE3D27D4EB4F))
    return mixed ^ (mixed >> U32)


@Kernel
def build_transitions(  # noqa: C901 - the stages of one batch, which share everything
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    table: U64s,
    lines: int,
    records: U64s,
    hashes: U64s,
    most_records: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    note_table: U64Rows,
    known: I64s,
    quiescent: U8s,
    failing: U8s,
) -> Any:
    """Make the transitions of the states from `begin` to `end`; 0, or 1 when there are more kinds
    of notes than fit.
    """
    width = words + 2
    room = records.size // width
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at, table_at = np.uint64(seen.ctypes.data), np.uint64(table.ctypes.data)
    lines_, wide = np.uint64(lines), np.uint64(words)
    position = begin
    while position < end:
        made = 0
        while position < end and made + most_records <= room:
            result = call_successors(
                address,
                base + np.uint64(position * words) * U8,
                target + np.uint64(made * width) * U8,
                seen_at,
            )
            quiescent[position] = 0 if result & DRIVEN_BIT else 1
            count = np.int64(result & COUNT_MASK)
            kept = made
            for number in range(made, made + count):
                at = number * width
                if records[at + words] & FAILED_BIT:
                    failing[position] = 1
                    continue
                hash_ = hash_of(records, at, words)
                prefetch(table_at + line_of(hash_, lines_) * U64)
                hashes[kept] = hash_
                if kept != number:
                    for offset in range(width):
                        records[kept * width + offset] = records[at + offset]
                kept += 1
            first[position + 1] = first[position] + (kept - made)
            made = kept
            position += 1
        # Three passes over a batch: ask for the table's lines, then for the states that they name,
        # then compare. Each pass finds in the cache what the one before has asked for.
        for number in range(made):
            line = line_of(hashes[number], lines_)
            similar = upper_halves_equal(table_at + line * U64, hashes[number])
            if similar != U0:
                found = (table[line * SLOTS + lowest_bit(similar)] & LOW) - U1
                prefetch(base + found * wide * U8)
        start = first[position] - made
        for number in range(made):
            at = number * width
            targets[start + number] = np.uint32(
                number_of(
                    states,
                    wide,
                    table,
                    table_at,
                    lines_,
                    records,
                    np.uint64(at),
                    hashes[number],
                )
            )
            label = records[at + words]
            happened = (label & ~FAILED_BIT) >> FAILURE_BITS | (label & LOW) << EVENT_BITS
            note = note_number(note_table, records[at + words + 1], happened, known)
            if note < 0:
                return 1
            notes[start + number] = np.uint16(note)
    return 0


@Kernel
def flag_states(
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    records: U64s,
    quiescent: U8s,
    failing: U8s,
) -> None:
    """Only which states are quiet and which have a failing step, where transitions do not fit."""
    width = words + 2
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for position in range(begin, end):
        result = call_successors(address, base + np.uint64(position * words) * U8, target, seen_at)
        quiescent[position] = 0 if result & DRIVEN_BIT else 1
        for number in range(np.int64(result & COUNT_MASK)):
            if records[number * width + words] & FAILED_BIT:
                failing[position] = 1


@Kernel
def transpose(
    first: I64s,
    targets: U32s,
    notes: U16s,
    expanded: int,
    into: I64s,
    sources: U32s,
    notes_into: U16s,
) -> None:
    """Counting sort of the transitions by target; `into` has room for one more than the states."""
    count = into.size - 1
    edges = first[expanded]
    for edge in range(edges):
        into[np.int64(targets[edge]) + 1] += 1
    # Counts become beginnings; edges are then placed in the order of their sources, so that those
    # into a state are in ascending order and no search depends on how the graph was built.
    for number in range(count):
        into[number + 1] += into[number]
    # `into[t]` serves as the place to fill next, and is moved back afterwards.
    for number in range(expanded):
        for edge in range(first[number], first[number + 1]):
            target = np.int64(targets[edge])
            sources[into[target]] = np.uint32(number)
            notes_into[into[target]] = notes[edge]
            into[target] += 1
    for number in range(count, 0, -1):
        into[number] = into[number - 1]
    into[0] = 0


@Kernel
def lead_to(
    reached: U8s,
    pending: U32s,
    count: int,
    into: I64s,
    sources: U32s,
    notes_into: U16s,
    barred: U8s,
) -> None:
    """Mark every state from which a path leads to one that is marked already.

    `pending` holds the marked states, `count` of them, and has room for all; transitions whose note
    is barred are no paths.
    """
    while count > 0:
        count -= 1
        number = np.int64(pending[count])
        for edge in range(into[number], into[number + 1]):
            before = np.int64(sources[edge])
            if not reached[before] and not barred[notes_into[edge]]:
                reached[before] = 1
                pending[count] = np.uint32(before)
                count += 1


@Kernel
def ring_place(place: int, size: int) -> Any:
    """A place less than twice the size, in a ring of that size."""
    return place - size if place >= size else place


@Kernel
def spread_movable(masks: U64s, pending: U32s, waiting: U8s, into: I64s, sources: U32s) -> None:
    """Give every state the bits of all states that a path leads to from it.

    `pending` is a ring with room for all states; at first it holds them all, and `waiting` is 1.
    """
    size = pending.size
    head, count = 0, size
    while count > 0:
        number = np.int64(pending[head])
        head = ring_place(head + 1, size)
        count -= 1
        waiting[number] = 0
        for edge in range(into[number], into[number + 1]):
            before = np.int64(sources[edge])
            if masks[number] & ~masks[before]:
                masks[before] |= masks[number]
                if not waiting[before]:
                    waiting[before] = 1
                    pending[ring_place(head + count, size)] = np.uint32(before)
                    count += 1


@Kernel
def own_moves(
    first: I64s, targets: U32s, notes: U16s, expanded: int, moved: U64s, masks: U64s
) -> None:
    """For each state the chips that move in one of its own transitions that leads away from it."""
    for number in range(expanded):
        for edge in range(first[number], first[number + 1]):
            if np.int64(targets[edge]) != number:
                masks[number] |= moved[notes[edge]]


@Kernel
def spread_forwards(  # noqa: C901 - one loop over distances
    first: I64s,
    targets: U32s,
    expanded: int,
    marks: U64s,
    starts: I64s,
    start_depths: I64s,
    blocked: np.uint64,
    enters: bool,
    came_from: U32s,
    inside: U32s,
    entered: U32s,
) -> Any:
    """Spread from `starts` through states with none of the `blocked` marks; states with some are
    not passed on from, and entered only if `enters`. Returns how many are inside and were entered.

    A start joins in when the spread is as far as its start depth, in ascending order of these.
    `came_from` must hold `UNREACHED` everywhere.
    """
    joined, done, count, entries = 0, 0, 0, 0
    distance = np.int64(0)
    while joined < starts.size or done < count:
        end = count
        if done == end and joined < starts.size and start_depths[joined] > distance:
            distance = np.int64(start_depths[joined])
        for number in range(done, end):
            state = np.int64(inside[number])
            if state >= expanded:
                continue
            for edge in range(first[state], first[state + 1]):
                target = np.int64(targets[edge])
                if came_from[target] != UNREACHED:
                    continue
                if not marks[target] & blocked:
                    came_from[target] = np.uint32(state)
                    inside[count] = np.uint32(target)
                    count += 1
                elif enters:
                    came_from[target] = np.uint32(state)
                    entered[entries] = np.uint32(target)
                    entries += 1
        if end > done:
            distance += 1
        done = end
        # A start joins after the states of its distance: ties go to what was reached earlier, which
        # is what breadth-first search from the initial state would have found.
        while joined < starts.size and start_depths[joined] <= distance:
            state = np.int64(starts[joined])
            if came_from[state] == UNREACHED:
                came_from[state] = START
                inside[count] = np.uint32(state)
                count += 1
            joined += 1
    return count, entries


@Kernel
def find_before(
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    goal: int,
    records: U64s,
) -> Any:
    """The first state from `begin` on that has a step to the state number `goal`, or -1."""
    width = words + 2
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for position in range(begin, end):
        result = call_successors(address, base + np.uint64(position * words) * U8, target, seen_at)
        for number in range(np.int64(result & COUNT_MASK)):
            at = number * width
            if records[at + words] & FAILED_BIT:
                continue
            same = True
            for offset in range(words):
                if records[at + offset] != states[goal * words + offset]:
                    same = False
                    break
            if same:
                return position
    return -1
