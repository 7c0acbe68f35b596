"""The inner loop of walking, fixed for all products and compiled once.

Written after `modecheck.engine.search.walking`, and sharing no code with it: tests compare both,
walk by walk. A path is kept as the numbers of the records that were picked.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from modecheck.engine.language.annotations import (
    I64Rows,
    I64s,
    U8s,
    U16Rows,
    U16s,
    U64Rows,
    U64s,
)
from modecheck.engine.language.intrinsics import call_marks, call_successors
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.frame import DRIVEN, RECORD_EXTRA
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    FAILURE_MASK,
    LOW,
)
from modecheck.engine.native.walk_sample import (
    KEPT,
    OFFERED,
    STEPPING,
    STEPS,
    U0,
    below,
    bits_of,
    hash_at,
    hash_within,
    knows,
    number,
    place_in,
    race_time,
    scrambled,
    visit,
)
from modecheck.engine.search.walking import (
    DEADLOCKS,
    EVEN,
    NEW,
    POLICIES,
    RESTART_COST,
    SEEN_BEFORE,
    SHORTENINGS,
    TRIES,
)

IS_DRIVEN = np.uint64(DRIVEN)
EXTRA = RECORD_EXTRA


class Code(NamedTuple):
    """The product's machine code, and room for what it writes. `hashes` has one for each record."""

    successors: np.uint64
    marks: np.uint64
    seen: U8s
    records: U64s
    hashes: U64s
    words: int


class Tests(NamedTuple):
    """What is watched: rows of two masks; the sight of each failure; the first of deadlocks.

    For each label `group` says with which others it is held back (or -1), `busy` whether a chip is,
    `chooses` whether an observer does. `own` masks the bits of a state that are not an observer's.
    """

    states: U64Rows
    resting: U64Rows
    losses: U64Rows
    changes: U64Rows
    failures: I64s
    first_deadlock: int
    rests: np.uint64
    due: np.uint64
    modes: U64s
    group: I64s
    busy: U8s
    own: U64s
    chooses: U8s
    groups: int


class Archive(NamedTuple):
    """The slots: counts, lengths of paths (-1 where empty), modes, words, paths; then where they
    belong, as in `modecheck.engine.search.walking.Features`.
    """

    counts: I64s
    lengths: I64s
    modes: I64s
    states: U64Rows
    paths: U16Rows
    fields: U64Rows
    masks: U64s
    leaves: U64s
    cells_first: int
    cells: int


class WalkBuffers(NamedTuple):
    """What a walk writes on: its random numbers, what it holds back, its path and its state."""

    dice: U64s
    held: U8s
    path: U16s
    state: U64s


class Found(NamedTuple):
    """The shortest path to each sight (length -1: not seen), and the hashes of deadlocks."""

    lengths: I64s
    paths: U16Rows
    deadlocks: U64s


@Kernel
def note(found: Found, target: int, path: U16s, length: int, last: int) -> None:
    """Keep the path to a sight, with one record more unless `last` is -1, if it is the shortest."""
    whole = length + (last >= 0)
    if found.lengths[target] >= 0 and found.lengths[target] <= whole:
        return
    found.lengths[target] = whole
    for at in range(length):
        found.paths[target, at] = path[at]
    if last >= 0:
        found.paths[target, length] = last


@Kernel
def note_in_state(
    tests: Tests, found: Found, marks: np.uint64, path: U16s, length: int, last: int
) -> None:
    """What shows in a state alone."""
    for test in range(tests.states.shape[0]):
        wanted, unwanted = tests.states[test, 0], tests.states[test, 1]
        if marks & (wanted | unwanted) == wanted:
            note(found, test, path, length, last)


@Kernel
def note_deadlock(
    tests: Tests, archive: Archive, found: Found, state: U64s, path: U16s, length: int
) -> None:
    """A deadlock, kept apart by the leaves of the chips."""
    hash_ = hash_within(state, archive.leaves)
    for place in range(DEADLOCKS):
        target = tests.first_deadlock + place
        if found.lengths[target] < 0:
            found.deadlocks[place] = hash_
        if found.deadlocks[place] == hash_:
            note(found, target, path, length, -1)
            return


@Kernel
def differs(records: U64s, at: int, state: U64s, masks: U64s) -> Any:
    """Whether the state of a record is not like another one within the masks."""
    difference = U0
    for word in range(masks.size):
        difference |= (records[at + word] ^ state[word]) & masks[word]
    return difference != U0


@Kernel
def look(  # noqa: C901 - all tests, which share the marks
    code: Code,
    tests: Tests,
    archive: Archive,
    found: Found,
    state: U64s,
    marks: np.uint64,
    result: np.uint64,
    path: U16s,
    length: int,
) -> None:
    """What shows when all steps of a state are known."""
    count, width = np.int64(result & COUNT_MASK), code.words + EXTRA
    records = code.records
    at_records = np.uint64(records.ctypes.data)
    busy = False
    first_loss = tests.states.shape[0] + tests.resting.shape[0]
    first_change = first_loss + tests.losses.shape[0]
    for step in range(count):
        at = step * width
        word = records[at + code.words]
        if tests.busy[np.int64(word & LOW)] != 0:
            busy |= word & FAILED_BIT != U0 or differs(records, at, state, tests.own)
        if word & FAILED_BIT:
            failure = np.int64((word >> FAILURE_BITS) & FAILURE_MASK)
            note(found, tests.failures[failure], path, length, step)
            continue
        behind = call_marks(code.marks, at_records + np.uint64(8 * at))
        note_in_state(tests, found, behind, path, length, step)
        events = word >> FAILURE_BITS
        for test in range(tests.losses.shape[0]):
            lost = marks & ~behind & tests.losses[test, 0]
            if lost != U0 and events & tests.losses[test, 1] == U0:
                note(found, first_loss + test, path, length, step)
        for test in range(tests.changes.shape[0]):
            if marks & tests.changes[test, 0] and behind & tests.changes[test, 1]:
                note(found, first_change + test, path, length, step)
    if not busy:
        for test in range(tests.resting.shape[0]):
            wanted, unwanted = tests.resting[test, 0], tests.resting[test, 1]
            if marks & (wanted | unwanted) == wanted:
                note(found, tests.states.shape[0] + test, path, length, -1)
    if result & IS_DRIVEN == U0:
        if marks & tests.due != U0:
            note(found, first_change + tests.changes.shape[0], path, length, -1)
        elif marks & tests.rests == U0:
            note_deadlock(tests, archive, found, state, path, length)


@Kernel
def pick(
    code: Code,
    tests: Tests,
    table: U64s,
    state: U64s,
    taken: I64s,
    count: int,
    policy: int,
    held: U8s,
    early: bool,
    dice: U64s,
) -> Any:
    """The record that wins the race, or -1."""
    draw, width = number(dice), code.words + EXTRA
    best, soonest = -1, U0
    for step in range(count):
        at = step * width
        word = code.records[at + code.words]
        label = np.int64(word & LOW)
        group = tests.group[label]
        if word & FAILED_BIT or (group >= 0 and held[group] != 0):
            continue
        if early and tests.chooses[label] != 0:
            continue
        hash_ = hash_at(code.records, at, code.words)
        code.hashes[step] = hash_
        shift = 0 if policy == EVEN else bits_of(taken[label])
        same = True
        for offset in range(code.words):
            same &= code.records[at + offset] == state[offset]
        if same or (policy == NEW and knows(table, hash_)):
            shift += SEEN_BEFORE
        # A race decides instead of a draw among all: the winner depends on no other candidate's
        # number, so a record that is left out changes nothing for the rest.
        own = scrambled((draw ^ hash_) + np.uint64(label) * STEPPING)
        time = race_time(own) << np.uint64(shift)
        if best < 0 or time < soonest:
            best, soonest = step, time
    return best


@Kernel
def mode_after(tests: Tests, switches: I64Rows, marks: np.uint64, mode: int) -> Any:
    """The mode that a state is in, or was in last; a change is counted."""
    if mode >= 0 and marks & tests.modes[mode]:
        return mode
    for entered in range(tests.modes.size):
        if marks & tests.modes[entered]:
            if mode >= 0:
                switches[mode, entered] += 1
            return entered
    return mode


@Kernel
def file_away(
    archive: Archive, slot: int, state: U64s, path: U16s, length: int, mode: int, most: int
) -> None:
    """Count a state in a slot, and keep it there if it is the first, nearer, or due."""
    archive.counts[slot] += 1
    count = archive.counts[slot]
    shorter = archive.lengths[slot] < 0 or length < archive.lengths[slot]
    # Kept again whenever the count is a power of two: late finds get in, ever more rarely.
    if length > most or not (shorter or count & (count - 1) == 0):
        return
    archive.lengths[slot], archive.modes[slot] = length, mode
    for offset in range(state.size):
        archive.states[slot, offset] = state[offset]
    for at in range(length):
        archive.paths[slot, at] = path[at]


@Kernel
def rare_slot(archive: Archive, dice: U64s) -> Any:
    """A slot with a low count, or -1."""
    first, count = 0, archive.cells_first
    if below(dice, 2):
        first, count = archive.cells_first, archive.cells
    best = -1
    for _ in range(TRIES):
        slot = first + below(dice, max(1, count))
        if archive.lengths[slot] >= 0 and (best < 0 or archive.counts[slot] < archive.counts[best]):
            best = slot
    return best


@Kernel
def walk(  # noqa: C901 - one walk, from its dice to its end
    code: Code,
    tests: Tests,
    archive: Archive,
    found: Found,
    table: U64s,
    counters: I64s,
    taken: I64s,
    switches: I64Rows,
    room: WalkBuffers,
    starts: U64Rows,
    seed: np.uint64,
    begin: int,
    end: int,
    depth: int,
    most: int,
) -> Any:
    """Walks number `begin` to `end` - 1; the number of the first that was not begun, because fewer
    than `most` states can be kept. A walk begins in one of the `starts`; where there are several,
    its path begins with the number of that start.
    """
    words, width = code.words, code.words + EXTRA
    dice, held, path, state = room
    at_state, at_records = np.uint64(state.ctypes.data), np.uint64(code.records.ctypes.data)
    notes = np.uint64(code.seen.ctypes.data)
    for run in range(begin, end):
        if counters[KEPT] + depth + 1 > most:
            return run
        dice[0] = scrambled(np.uint64(seed) * STEPPING + np.uint64(run))
        policy = below(dice, POLICIES)
        held[:] = 0
        if below(dice, 4):
            for group in range(tests.groups):
                held[group] = below(dice, 2)
        limit = max(1, depth >> below(dice, SHORTENINGS))
        patience = below(dice, limit)
        slot = rare_slot(archive, dice) if below(dice, 2) else -1
        if slot >= 0:
            archive.counts[slot] += RESTART_COST
            length, mode = archive.lengths[slot], archive.modes[slot]
            for offset in range(words):
                state[offset] = archive.states[slot, offset]
            for at in range(length):
                path[at] = archive.paths[slot, at]
            marks = call_marks(code.marks, at_state)
        else:
            length = 0
            begun = np.int64(0)
            if starts.shape[0] > 1:
                begun = np.int64(below(dice, starts.shape[0]))
                path[0] = begun
                length = 1
            for offset in range(words):
                state[offset] = starts[begun, offset]
            marks = call_marks(code.marks, at_state)
            note_in_state(tests, found, marks, path, length, -1)
            mode = mode_after(tests, switches, marks, -1)
            visit(table, counters, hash_at(state, 0, words))
        done = 0
        while True:
            result = call_successors(code.successors, at_state, at_records, notes)
            look(code, tests, archive, found, state, marks, result, path, length)
            count = np.int64(result & COUNT_MASK)
            counters[OFFERED] += count
            if done == limit or length == depth:
                break
            early = done < patience
            step = pick(code, tests, table, state, taken, count, policy, held, early, dice)
            # Held back may be all that is possible; then nothing is held back any more in this
            # walk.
            if step < 0:
                held[:] = 0
                patience = 0
                step = pick(code, tests, table, state, taken, count, policy, held, False, dice)
            if step < 0:
                break
            for offset in range(words):
                state[offset] = code.records[step * width + offset]
            path[length] = step
            length += 1
            done += 1
            taken[np.int64(code.records[step * width + words] & LOW)] += 1
            counters[STEPS] += 1
            marks = call_marks(code.marks, at_state)
            mode = mode_after(tests, switches, marks, mode)
            visit(table, counters, code.hashes[step])
            for feature in range(archive.fields.shape[0]):
                word, shift = archive.fields[feature, 0], archive.fields[feature, 1]
                value = (state[np.int64(word)] >> shift) & archive.fields[feature, 2]
                slot = np.int64(archive.fields[feature, 3] + value)
                file_away(archive, slot, state, path, length, mode, depth // 2)
            cell = hash_within(state, archive.masks)
            slot = archive.cells_first + place_in(cell, archive.cells)
            file_away(archive, slot, state, path, length, mode, depth // 2)
    return end


@Kernel
def steps_of(code: Code, state: U64s) -> Any:
    """Write the records of a state's steps; how many there are."""
    notes = np.uint64(code.seen.ctypes.data)
    at_state, at_records = np.uint64(state.ctypes.data), np.uint64(code.records.ctypes.data)
    return call_successors(code.successors, at_state, at_records, notes) & COUNT_MASK
