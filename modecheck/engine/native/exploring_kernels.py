"""The inner loops of exploring: compiled once for all small products, and for each large one with
its own steps inside.

A successor waits from when its line of the table is asked for until some others have been made, so
that making successors and waiting for memory go on at the same time, evenly.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U64Rows, U64s
from modecheck.engine.language.intrinsics import (
    call_successors,
    prefetch,
    take_from,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    FAILURE_MASK,
    LOW,
    TWO,
    U0,
    U1,
    U8,
    U32,
    U64,
)
from modecheck.engine.native.table_kernels import (
    FULL,
    NEW,
    hash_of,
    home_for,
    insert_word,
    insert_words,
    is_short,
)

AT, UNTIL, FILLED, TRANSITIONS, EXPANDED, LEVELS, MET, IS_THERE = range(8)
"""Places in the array of counters that a kernel goes on from when it is called again."""
COUNTERS = 8


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


class SuccessorCode(NamedTuple):
    """How successors are made: the address of the code, what it notes, and room for its records and
    one more word.
    """

    address: np.uint64
    seen: U8s
    records: U64s


@Kernel
def reached(
    code: SuccessorCode,
    words: np.uint64,
    states: Any,
    first: np.uint64,
    waiting: U64s,
    at: np.uint64,
    failed: U64s,
) -> Any:
    """The words of the states that one leads to, whose own stand in `states` from `first` on, go to
    `waiting` from `at` on; the labels of its failing steps, with the failures, to `failed`. How
    many there are of both, the latter above bit 32.

    A product that is explored for long brings code that does this without records of its steps.
    """
    records = code.records
    state = np.uint64(states.ctypes.data) + first * U8
    if is_short(states):
        spread = np.uint64(records.size - 1)
        records[spread] = states[first]
        state = np.uint64(records.ctypes.data) + spread * U8
    target, seen = np.uint64(records.ctypes.data), np.uint64(code.seen.ctypes.data)
    count = call_successors(code.address, state, target, seen) & COUNT_MASK
    place, failing = at, U0
    for number in range(U0, count):
        record = number * (words + TWO)
        label = records[record + words]
        if label & FAILED_BIT:
            failed[failing] = label
            failing += U1
        else:
            for offset in range(words):
                waiting[place] = records[record + np.uint64(offset)]
                place += U1
    return (place - at) // words | failing << U32


AHEAD = 32
"""States whose lines are asked for ahead of time; with more, the first are gone from the cache."""


@Kernel
def expand(  # noqa: C901 - the stages of one pipeline, which share everything
    code: SuccessorCode,
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
    waiting: U64s,
    homes: U64s,
    hashes: U64s,
    failed: U64s,
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
    table_at, counter = np.uint64(table.ctypes.data), np.uint64(taken.ctypes.data)
    lines_, most_, distance_ = np.uint64(lines), np.uint64(most), np.uint64(distance)
    room, segments, mine = np.uint64(homes.size), np.uint64(ends.size), np.uint64(own)
    ahead, share = np.uint64(AHEAD), np.uint64(states.size)
    nearly_full = room - room // np.uint64(4)
    first, bits_ = mine * share, np.uint64(bits)
    at, until = np.uint64(counters[AT]), np.uint64(counters[UNTIL])
    filled, transitions = np.uint64(counters[FILLED]), np.uint64(counters[TRANSITIONS])
    whole, most_expanded = np.uint64(ends[-1]), np.uint64(quota)
    expanded = U0
    halted: Any = False
    made = done = U0
    check, run = transitions, 0
    while True:
        # Room for what waits and for what is made until the next look (`room_to_wait`).
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
        if made > nearly_full:
            # What still waits moves to the front.
            for number in range(done, made):
                to = number - done
                homes[to] = homes[number]
                hashes[to] = hashes[number]
                for offset in range(words):
                    waiting[to * words + offset] = waiting[number * words + offset]
            made -= done
            done = U0
        stop = made
        if at < until and not halted:
            # Numbers only grow while a level lasts, so the thread that found a state is searched
            # forwards.
            while at >= np.uint64(ends[run]):
                run += 1
            state = np.uint64(begins[run]) + at * words
            result = reached(code, words, everything, state, waiting, made * words, failed)
            for number in range(result >> U32):
                label = failed[number]
                failure = np.int64((label >> FAILURE_BITS) & FAILURE_MASK)
                note_failure(failures, failure, label & LOW, state, words, everything, level)
            last = made + (result & COUNT_MASK)
            for number in range(made, last):
                hash_ = hash_of(waiting, np.int64(number * words), len(shape))
                home = home_for(hash_, lines_, distance_, segments, others)
                homes[number] = home
                if words != U1:
                    hashes[number] = hash_
                prefetch(table_at + home * U64)
            transitions += last - made
            made = last
            at += U1
            expanded += U1
            # What was asked for least recently is entered first; its line has had time to arrive.
            stop = max(made, done + ahead) - ahead
        while done < stop:
            if words == U1:
                result = insert_word(table, homes[done], waiting[done], others)
                # Written in any case, as it is quicker to overwrite it than to ask.
                states[filled] = waiting[done]
            else:
                # The words are written before the number is published in the table: another thread
                # that finds the number must find the words, too. If the state is known they are
                # overwritten.
                for offset in range(words):
                    states[filled * words + offset] = waiting[done * words + offset]
                result = insert_words(
                    table,
                    homes[done],
                    hashes[done],
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
                line = homes[done] + U1
                homes[made], hashes[made] = line, hashes[done]
                for offset in range(words):
                    waiting[made * words + offset] = waiting[done * words + offset]
                prefetch(table_at + line * U64)
                made += U1
            done += U1
        # A state may have led nowhere, so that nothing waits although there is more to be had.
        if done == made and (at == whole or halted):
            break
    counters[EXPANDED] += np.int64(expanded)
    counters[AT], counters[UNTIL] = at, until
    counters[FILLED], counters[TRANSITIONS] = filled, transitions
