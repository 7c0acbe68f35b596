"""The inner loops of searches over transitions that exchange states for representatives.

Of every state there are several flags, one in each column. A transition gives the state before it
those of the state behind it, in other columns: `back[note, j]` is the column that goes into `j`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.compiled.graph_kernels import ring_place
from modecheck.engine.compiled.kernels import U0, U1
from modecheck.engine.compiled.language.annotations import (
    I64Rows,
    I64s,
    U8Rows,
    U8s,
    U16s,
    U32s,
    U64s,
)
from modecheck.engine.compiled.language.kernel import Kernel


@Kernel
def spread_turned(
    flags: U8Rows,
    pending: U32s,
    waiting: U8s,
    into: I64s,
    sources: U32s,
    notes_into: U16s,
    back: I64Rows,
    allowed: U8Rows,
) -> None:
    """Set the flags of every state from which a path leads to a flag that is set.

    `pending` is a ring with room for all states; at first it holds them all, and `waiting` is 1.
    Column `j` does not go over a transition whose note has `allowed[note, j]` 0.
    """
    size, columns = pending.size, flags.shape[1]
    head, count = 0, size
    while count > 0:
        number = np.int64(pending[head])
        head = ring_place(head + 1, size)
        count -= 1
        waiting[number] = 0
        for edge in range(into[number], into[number + 1]):
            before, note = np.int64(sources[edge]), np.int64(notes_into[edge])
            changed = False
            for column in range(columns):
                if (
                    not flags[before, column]
                    and allowed[note, column]
                    and flags[number, back[note, column]]
                ):
                    flags[before, column] = 1
                    changed = True
            if changed and not waiting[before]:
                waiting[before] = 1
                pending[ring_place(head + count, size)] = np.uint32(before)
                count += 1


@Kernel
def own_flags(
    first: I64s,
    targets: U32s,
    notes: U16s,
    expanded: int,
    of_note: U8Rows,
    stays: U8s,
    flags: U8Rows,
) -> None:
    """Give each state the flags of the notes of its own transitions, but of those in place: to the
    same representative, with a note that `stays`.
    """
    for number in range(expanded):
        for edge in range(first[number], first[number + 1]):
            if np.int64(targets[edge]) == number and stays[notes[edge]]:
                continue
            for column in range(flags.shape[1]):
                flags[number, column] |= of_note[notes[edge], column]


@Kernel
def first_turned_loss(
    first: I64s,
    targets: U32s,
    notes: U16s,
    expanded: int,
    marks: U64s,
    wanted: U64s,
    barred: U8Rows,
    back: I64Rows,
) -> Any:
    """The first transition after which a mark of `wanted[j]` is gone, unless its note is barred for
    `j`: the state before it, the transition's number and `j`, or -1 three times. `back[note, b]` is
    the mark behind the transition that tells of mark `b`.
    """
    for number in range(expanded):
        for edge in range(first[number], first[number + 1]):
            note = np.int64(notes[edge])
            for form in range(wanted.size):
                if barred[note, form]:
                    continue
                before = marks[number] & wanted[form]
                for bit in range(back.shape[1]):
                    own = before >> np.uint64(bit) & U1
                    after = marks[targets[edge]] >> np.uint64(back[note, bit]) & U1
                    if own != U0 and after == U0:
                        return number, edge, form
    return -1, -1, -1


@Kernel
def first_turned_change(
    first: I64s,
    targets: U32s,
    notes: U16s,
    expanded: int,
    marks: U64s,
    wanted: U64s,
    reached: U64s,
    back: I64Rows,
) -> Any:
    """The first transition from a state with a mark of `wanted[j]` to one with a mark of
    `reached[j]`: the state before it, the transition's number and `j`, or -1 three times.
    """
    for number in range(expanded):
        for edge in range(first[number], first[number + 1]):
            note = np.int64(notes[edge])
            for form in range(wanted.size):
                if marks[number] & wanted[form] == U0:
                    continue
                for bit in range(back.shape[1]):
                    asked = reached[form] >> np.uint64(bit) & U1
                    after = marks[targets[edge]] >> np.uint64(back[note, bit]) & U1
                    if asked != U0 and after != U0:
                        return number, edge, form
    return -1, -1, -1
