"""Search from any state for the nearest place where something shows, fixed for all products."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U16s, U32s, U64s
from modecheck.engine.language.intrinsics import call_marks, call_successors
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import COUNT_MASK, FAILED_BIT
from modecheck.engine.native.walk_kernels import (
    EXTRA,
    IS_DRIVEN,
    Archive,
    Code,
    Found,
    Tests,
    look,
    note_in_state,
)
from modecheck.engine.native.walk_sample import U0, hash_at, place_in

NOWHERE = -2
"""The answer when the bound is hit, or nothing is left, before anything showed."""


@Kernel
def is_like(states: U64s, first: int, masks: U64s, values: U64s) -> Any:
    """Whether what the masks leave of a state has these values."""
    for offset in range(masks.size):
        if states[first + offset] & masks[offset] != values[offset]:
            return False
    return True


@Kernel
def add(table: U32s, states: U64s, filled: int, records: U64s, at: int, words: int) -> Any:
    """Put a state into the table and behind the others, if it is new."""
    place = place_in(hash_at(records, at, words), table.size)
    while table[place] != 0:
        first = np.int64(table[place] - 1) * words
        same = True
        for offset in range(words):
            same &= states[first + offset] == records[at + offset]
        if same:
            return False
        place = place + 1 if place + 1 < table.size else 0
    table[place] = filled + 1
    for offset in range(words):
        states[filled * words + offset] = records[at + offset]
    return True


@Kernel
def step_shown(found: Found, targets: I64s) -> Any:
    """The record that leads to one of some targets, -1 where the state itself is one; `NOWHERE` if
    none has been seen.
    """
    for target in targets:
        if found.lengths[target] == 0:
            return -1
        if found.lengths[target] > 0:
            return np.int64(found.paths[target, 0])
    return NOWHERE


@Kernel
def nearest(  # noqa: C901 - one search, from its start to its answer
    code: Code,
    tests: Tests,
    archive: Archive,
    found: Found,
    targets: I64s,
    masks: U64s,
    values: U64s,
    stuck: bool,
    states: U64s,
    came: I64s,
    picked: I64s,
    table: U32s,
    path: U16s,
) -> Any:
    """The number of the state where something showed, and the record that has to be taken there, or
    -1; (`NOWHERE`, -1) when it did not. The start is the first of `states`.

    Wanted are the numbers in `targets`; where there are none, a state like `values` within `masks`,
    with `stuck` one that is deadlocked. Record `picked[n]` of state `came[n]` leads to state `n`.
    `path` has room for one step.
    """
    words, width = code.words, code.words + EXTRA
    base, at_records = np.uint64(states.ctypes.data), np.uint64(code.records.ctypes.data)
    notes, bound = np.uint64(code.seen.ctypes.data), came.size
    filled, position = 0, 0
    if add(table, states, 0, states, 0, words):
        filled = 1
    if targets.size:
        note_in_state(tests, found, call_marks(code.marks, base), path, 0, -1)
        if step_shown(found, targets) != NOWHERE:
            return 0, -1
    elif not stuck and is_like(states, 0, masks, values):
        return 0, -1
    while position < filled:
        address = base + np.uint64(8 * position * words)
        marks = call_marks(code.marks, address)
        result = call_successors(code.successors, address, at_records, notes)
        count = np.int64(result & COUNT_MASK)
        if targets.size:
            state = states[position * words : (position + 1) * words]
            look(code, tests, archive, found, state, marks, result, path, 0)
            shown = step_shown(found, targets)
            if shown != NOWHERE:
                return position, shown
        elif (
            stuck
            and result & IS_DRIVEN == U0
            and marks & (tests.rests | tests.due) == U0
            and is_like(states, position * words, masks, values)
        ):
            return position, -1
        for step in range(count):
            at = step * width
            if code.records[at + words] & FAILED_BIT or filled == bound:
                continue
            if add(table, states, filled, code.records, at, words):
                came[filled], picked[filled] = position, step
                filled += 1
                if not targets.size and not stuck and is_like(code.records, at, masks, values):
                    return filled - 1, -1
        position += 1
    return NOWHERE, -1
