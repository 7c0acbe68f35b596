"""Transitions in few bytes: packed, unpacked, and looked through. Inner loops.

Those of a block of states are packed one state's behind the other's: twice how many it has, and one
more if a step of it fails; then of each transition its kind, and by how much its target is beyond
that of the last one of its kind in the block, or of one with the same low bits. All of these are
numbers of seven bits a byte, the lowest first, of which all bytes but the last have the eighth bit
(LEB128, as in DWARF 5, 7.6), the last one with its sign in the lowest bit.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0, U1

LONGEST = 8
"""Bytes of a packed transition at the most: three of its kind, five of its target."""
STATES_TOGETHER = 256
"""States of a block: few enough that where a sweep asks for few states little is unpacked."""
REMEMBERED = 1 << 10
"""Kinds whose last target is remembered."""
FAILING = np.uint16(0xFFFF)
"""Stands for the kind of a step that fails, which leads nowhere, and is told as one in place."""
LOW6, SIX = np.uint64(63), np.uint64(6)
SEVEN, MORE = np.uint64(7), np.uint64(128)
LOW_BITS = MORE - U1
WHOLE = np.uint64(0xFFFFFFFFFFFFFFFF)


@Kernel
def put_number(packed: U8s, at: int, value: np.uint64) -> Any:
    """Write a number; where the next one begins."""
    while value >= MORE:
        packed[at] = np.uint8(value & LOW_BITS | MORE)
        value >>= SEVEN
        at += 1
    packed[at] = np.uint8(value)
    return at + 1


@Kernel
def get_number(packed: U8s, at: int) -> Any:
    """The number that is written at a place, and where the next one begins."""
    value, shift = U0, U0
    while packed[at] >= MORE:
        value |= (np.uint64(packed[at]) & LOW_BITS) << shift
        shift += SEVEN
        at += 1
    value |= np.uint64(packed[at]) << shift
    return value, at + 1


@Kernel
def pack_block(
    begins: I64s,
    failing: U8s,
    kinds: U16s,
    targets: U32s,
    first: int,
    end: int,
    last: I64s,
    packed: U8s,
    at: int,
) -> Any:
    """Pack the transitions of the states from `first` to `end`; where the next ones begin. Those of
    state `i` are `begins[i]` to `begins[i + 1] - 1`.
    """
    for slot in range(last.size):
        last[slot] = 0
    for state in range(first, end):
        count = np.uint64(begins[state + 1] - begins[state])
        at = put_number(packed, at, count << U1 | np.uint64(failing[state]))
        for edge in range(begins[state], begins[state + 1]):
            kind, target = np.uint64(kinds[edge]), np.int64(targets[edge])
            at = put_number(packed, at, kind)
            place = np.int64(kind & np.uint64(REMEMBERED - 1))
            step = target - last[place]
            last[place] = target
            if step < 0:
                at = put_number(packed, at, np.uint64(-step) << U1 | U1)
            else:
                at = put_number(packed, at, np.uint64(step) << U1)
    return at


@Kernel
def pack_states(
    begins: I64s,
    failing: U8s,
    kinds: U16s,
    targets: U32s,
    last: I64s,
    packed: U8s,
    offsets: I64s,
    base: int,
) -> Any:
    """Pack the transitions of some states block by block; how many bytes they take. `offsets` takes
    where each begins, counted from `base` on.
    """
    at, block = np.int64(0), np.int64(0)
    for first in range(0, failing.size, STATES_TOGETHER):
        end = min(first + STATES_TOGETHER, failing.size)
        offsets[block] = base + at
        at = pack_block(begins, failing, kinds, targets, first, end, last, packed, at)
        block += 1
    return at


@Kernel
def is_in(own: U64s, number: int) -> Any:
    """Whether a state is in a set."""
    return own[number >> 6] >> (np.uint64(number) & LOW6) & U1 != U0


@Kernel
def is_wanted(wanted: U64s, barred: U64s, number: int) -> Any:
    """Whether a state is in one set, and not in another one; sets without words hold all states,
    and none.
    """
    if wanted.size > 0 and not is_in(wanted, number):
        return False
    return barred.size == 0 or not is_in(barred, number)


@Kernel
def some_wanted(wanted: U64s, barred: U64s, first: int, end: int) -> Any:
    """Whether some of the states from `first` to `end` is wanted."""
    at = first
    while at < end:
        low, until = np.uint64(at) & LOW6, min((at | 63) + 1, end)
        own = WHOLE << low
        if until & 63 != 0:
            own &= ~(WHOLE << (np.uint64(until) & LOW6))
        if wanted.size > 0:
            own &= wanted[at >> 6]
        if barred.size > 0:
            own &= ~barred[at >> 6]
        if own != U0:
            return True
        at = until
    return False


@Kernel
def unpack_block(
    packed: U8s,
    at: int,
    first: int,
    end: int,
    wanted: U64s,
    barred: U64s,
    last: I64s,
    sources: U32s,
    kinds: U16s,
    targets: U32s,
    filled: int,
) -> Any:
    """Unpack the transitions of those of the states from `first` to `end` that are wanted; how many
    there are then.
    """
    for slot in range(last.size):
        last[slot] = 0
    for state in range(first, end):
        head, at = get_number(packed, at)
        take = is_wanted(wanted, barred, state)
        if take and head & U1 != U0:
            sources[filled], kinds[filled] = np.uint32(state), FAILING
            targets[filled] = np.uint32(state)
            filled += 1
        for _ in range(np.int64(head >> U1)):
            kind, at = get_number(packed, at)
            step, at = get_number(packed, at)
            place = np.int64(kind & np.uint64(REMEMBERED - 1))
            if step & U1 != U0:
                last[place] -= np.int64(step >> U1)
            else:
                last[place] += np.int64(step >> U1)
            if take:
                sources[filled], kinds[filled] = np.uint32(state), np.uint16(kind)
                targets[filled] = np.uint32(last[place])
                filled += 1
    return filled


@Kernel
def unpack_some(
    packed: U8s,
    offsets: I64s,
    begin: int,
    block: int,
    end: int,
    first: int,
    count: int,
    wanted: U64s,
    barred: U64s,
    most: int,
    last: I64s,
    sources: U32s,
    kinds: U16s,
    targets: U32s,
) -> Any:
    """Unpack the transitions of wanted states from a block on, up to the block `end`, or until
    there is no room for those of one more, which has no more than `most`; the next block, and how
    many there are. The block `begin` is the first one of `count` states, and has that with the
    number `first`.
    """
    filled = np.int64(0)
    while block < end and filled + most <= sources.size:
        row = (block - begin) * STATES_TOGETHER
        low, high = first + row, first + min(row + STATES_TOGETHER, count)
        if some_wanted(wanted, barred, low, high):
            filled = unpack_block(
                packed, offsets[block], low, high, wanted, barred, last, sources, kinds, targets,
                filled,
            )  # fmt: skip
        block += 1
    return block, filled


@Kernel
def keep_followed(
    sources: U32s,
    kinds: U16s,
    targets: U32s,
    count: int,
    allowed: U8s,
    away: bool,
    into: U64s,
) -> Any:
    """Move to the front those transitions whose kind is allowed, with `away` those alone that lead
    away, and that lead into a set if it has words; how many there are.
    """
    kept = np.int64(0)
    for edge in range(count):
        taken = allowed[kinds[edge]] != 0 and not (away and sources[edge] == targets[edge])
        if taken and (into.size == 0 or is_in(into, targets[edge])):
            sources[kept], kinds[kept] = sources[edge], kinds[edge]
            targets[kept] = targets[edge]
            kept += 1
    return kept


@Kernel
def drop_gaining(sources: U32s, kinds: U16s, targets: U32s, count: int, marked: U64s) -> Any:
    """Move to the front those transitions that do not lead from outside of a set into it; how many
    there are.
    """
    kept = np.int64(0)
    for edge in range(count):
        if not is_in(marked, targets[edge]) or is_in(marked, sources[edge]):
            sources[kept], kinds[kept] = sources[edge], kinds[edge]
            targets[kept] = targets[edge]
            kept += 1
    return kept


@Kernel
def put_new(numbers: U32s, count: int, own: U64s, base: int) -> Any:
    """Put states into a set, whose first word has the state `base`; those that were not there are
    moved to the front, and how many there are.
    """
    kept = np.int64(0)
    for place in range(count):
        number = np.int64(numbers[place])
        if not is_in(own, number - base):
            at = number - base
            own[at >> 6] |= U1 << (np.uint64(at) & LOW6)
            numbers[kept] = np.uint32(number)
            kept += 1
    return kept
