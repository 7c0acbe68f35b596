"""Level after level: threads meet at the end of each without leaving machine code.

A thread that has nothing left to expand publishes how many states it has found, says that it is
there, and waits until all are. Each then computes for itself what the next level is. Python is
returned to where a thread has called a halt (a table has to grow, a limit was met), where a level
is so small that one thread expands it sooner, or none is left, and now and then for a look at the
clock.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from modecheck.engine.language.annotations import I64s, U64Rows, U64s
from modecheck.engine.language.intrinsics import now_at, pause, replace_at
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.exploring_kernels import (
    AT,
    EXPANDED,
    FILLED,
    IS_THERE,
    LEVELS,
    MET,
    UNTIL,
    SuccessorCode,
    expand,
)

FEW = 1 << 10
"""States of a level that one thread expands sooner than several meet."""
TOGETHER = 1 << 18
"""States found in small levels before somebody looks at the clock."""
CHUNK = 1 << 11
"""States handed out at once: enough that asking costs nothing, few enough that nobody waits long
for the last one."""
CHUNKS = 4
"""Into how many chunks for each thread a small level is divided."""
PATIENCE = 1 << 13
"""Times that a thread looks whether all are there, before it lets another one run."""
SHUT = 1 << 62
"""Beside the number of threads that are there: nobody can arrive any more."""
APART = 8
"""Numbers in a cache line: what different threads write stands so far apart."""

PAUSED, HALTED, LEFT = range(3)
"""Why a kernel returns: to be called again; as a halt was called; as the level that is next is
small, empty, or one too many."""


class Frontier(NamedTuple):
    """The states of a level: up to `ends[t]` those that thread `t` has found, whose words would
    begin at `begins[t]` among those of all if they were all there is. It had found `begun[t]`
    states in all when the level began.
    """

    begins: U64s
    ends: I64s
    begun: I64s


class Meeting(NamedTuple):
    """What threads share beside table and states: `halt[0]` is set for all to stop, `taken` counts
    what has been handed out of a level, of every second one in another place, `there[0]` who has
    come to the end of a level, of all levels, and whether the door is shut, and `found` how many
    states each had found then.
    """

    halt: I64s
    taken: I64s
    there: I64s
    found: I64s


@Kernel
def chunk_of(frontier: Frontier) -> Any:
    """States to hand out at once: in small levels less, so that every thread gets some."""
    count, threads = frontier.ends[-1], frontier.ends.size
    return max(1, min(CHUNK, count // (CHUNKS * threads)))


@Kernel
def arrived(there: np.uint64, more: int) -> Any:
    """Count one more thread as there, or shut the door behind which it would be; whether the door
    was still open. `more` is 1, or `SHUT`.
    """
    while True:
        before = now_at(there)
        if before & SHUT != 0:
            return False
        if replace_at(there, before, before + more):
            return True


@Kernel
def all_are_there(meeting: Meeting, own: int, depth: int, counters: I64s) -> Any:
    """Wait until all threads are done with a level; `LEFT` when they are, else why not.

    Who notices that a halt was called shuts the door: nobody arrives any more. So either all were
    there before, then all go on, and halt in the next level; or all halt in this one.
    """
    threads = meeting.found.size // (2 * APART)
    there = np.uint64(meeting.there.ctypes.data)
    halt = np.uint64(meeting.halt.ctypes.data)
    if counters[IS_THERE] == 0:
        if own == 0:
            # Nobody takes from the next level before this thread is there.
            meeting.taken[((depth + 1) % 2) * APART] = 0
        meeting.found[((depth % 2) * threads + own) * APART] = counters[FILLED]
        if not arrived(there, 1):
            return HALTED
        counters[IS_THERE] = 1
    goal = (counters[MET] + 1) * threads
    looks = 0
    while now_at(there) & (SHUT - 1) < goal:
        if now_at(halt) != 0:
            arrived(there, SHUT)
            if now_at(there) & (SHUT - 1) < goal:
                return HALTED
        elif looks == PATIENCE:
            return PAUSED
        looks += 1
        pause()
    counters[MET] += 1
    counters[IS_THERE] = 0
    return LEFT


@Kernel
def next_level(
    frontier: Frontier, meeting: Meeting, depth: int, share: np.uint64, words: int
) -> Any:
    """Go on to the level that was found in the one of this depth; how many states there are."""
    before, threads = np.int64(0), frontier.ends.size
    for thread in range(threads):
        begin = frontier.begun[thread]
        end = meeting.found[((depth % 2) * threads + thread) * APART]
        offset = np.uint64((begin - before) * words)  # may be below 0, and is not in the end
        frontier.begins[thread] = np.uint64(thread) * share + offset
        before += end - begin
        frontier.ends[thread] = before
        frontier.begun[thread] = end
    return before


@Kernel
def explore(  # noqa: C901 - what ends it stands where it is known
    code: SuccessorCode,
    shape: tuple[int, ...],
    others: tuple[int, ...],
    frontier: Frontier,
    meeting: Meeting,
    quota: int,
    bound: int,
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
    depth: int,
    counters: I64s,
    most_records: int,
    is_alone: bool,
    level_ends: I64s,
    sizes: I64s,
) -> Any:
    """Expand states (see `expand`), level after level, from the one of this depth on; `PAUSED`,
    `HALTED` or `LEFT`. `counters[LEVELS]` takes how many levels have been begun since, `level_ends`
    how many states the thread had found when each was, and `sizes` how many states each has.

    Up to `quota` states are expanded, and no level is begun when there are more than `bound` states
    in all, or `FEW` or less in it. With `is_alone` it is the other way round: no other thread does
    anything, only small levels are expanded for which there is room, and none is begun when as many
    states as `TOGETHER` have been found.
    """
    threads, words = frontier.ends.size, len(shape)
    share, before_all = np.uint64(states.size), counters[EXPANDED]
    until = counters[FILLED] + TOGETHER
    done = 0
    while True:
        found, fresh = counters[FILLED], frontier.ends[-1]
        if is_alone:
            if done == level_ends.size or fresh == 0 or fresh > FEW or found > until:
                return LEFT
            # Room for the worst case is asked for beforehand: nobody grows the table in between.
            if found + fresh * most_records + homes.size > most:
                return LEFT
            meeting.taken[0] = 0
            counters[AT] = counters[UNTIL] = 0
        place = 0 if is_alone else ((depth + done) % 2) * APART
        taken = meeting.taken[place : place + 1]
        chunk = FEW if is_alone else chunk_of(frontier)
        # Who is there already takes nothing more: what counts this level may count another by now.
        if counters[IS_THERE] == 0:
            left = max(quota - (counters[EXPANDED] - before_all), 1)
            expand(
                code, shape, others, frontier.begins, frontier.ends, taken, meeting.halt,
                chunk, left, states, most, everything, own, bits, table, lines,
                distance, waiting, homes, hashes, failed, failures, np.uint64(depth + done),
                counters,
            )  # fmt: skip
        if is_alone:
            frontier.begins[0] = np.uint64(own) * share + np.uint64(found * words)
            frontier.ends[:] = counters[FILLED] - found
            level_ends[done] = counters[FILLED]
            done += 1
            counters[LEVELS] = done
            continue
        is_done = counters[AT] == counters[UNTIL] and now_at(taken.ctypes.data) >= fresh
        if counters[IS_THERE] == 0 and not is_done:
            if now_at(meeting.halt.ctypes.data) == 0:
                return PAUSED
            arrived(np.uint64(meeting.there.ctypes.data), SHUT)
            return HALTED
        why = all_are_there(meeting, own, depth + done, counters)
        if why != LEFT:
            return why
        size = next_level(frontier, meeting, depth + done, share, words)
        total = np.int64(0)
        for thread in range(threads):
            total += frontier.begun[thread]
        if size <= FEW or total > bound or done == level_ends.size:
            return LEFT
        level_ends[done], sizes[done] = counters[FILLED], size
        counters[AT] = counters[UNTIL] = 0
        done += 1
        counters[LEVELS] = done
