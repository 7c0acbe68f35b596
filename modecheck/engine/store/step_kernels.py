"""The steps of states, with who moved in each and what happened: an inner loop."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U16s, U64Rows, U64s
from modecheck.engine.language.intrinsics import call_successors
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import (
    COUNT_MASK,
    FAILED_BIT,
    FAILURE_BITS,
    LOW,
    U8,
)
from modecheck.engine.native.transition_making_kernels import EVENT_BITS, note_number


@Kernel
def make_steps(
    successors: np.uint64,
    words: int,
    rows: U64s,
    count: int,
    first: int,
    seen: U8s,
    records: U64s,
    note_table: U64Rows,
    known: I64s,
    born: I64s,
    begins: I64s,
    failing: U8s,
    kinds: U16s,
    reached: U64s,
) -> Any:
    """Make the transitions of some states, the first of which has the number `first`, one state's
    behind the other's: their kinds, and the words of the states that they lead to. `begins` takes
    where those of each begin and the last ones end, `failing` whether a step fails. How many there
    are, or -1 when there are more kinds than can be numbered.
    """
    width, made = words + 2, np.int64(0)
    base, target = np.uint64(rows.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for row in range(count):
        begins[row], failing[row] = made, 0
        address = base + np.uint64(row * words) * U8
        steps = np.int64(call_successors(successors, address, target, seen_at) & COUNT_MASK)
        for number in range(steps):
            at = number * width
            label = records[at + words]
            if label & FAILED_BIT:
                failing[row] = 1
                continue
            happened = label >> FAILURE_BITS | (label & LOW) << EVENT_BITS
            kind = note_number(
                note_table, records[at + words + 1], happened, known, born, first + row
            )
            if kind < 0:
                return -1
            kinds[made] = np.uint16(kind)
            for offset in range(words):
                reached[made * words + offset] = records[at + offset]
            made += 1
    begins[count] = made
    return made
