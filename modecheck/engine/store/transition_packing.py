"""Transitions in few bytes: packed, unpacked, and looked through. Inner loops.

Those of a block of states are packed one state's behind the other's: twice how many it has, and one
more if a step of it fails; then of each transition its kind, and by how much its target is beyond
that of the last one of its kind in the block, or of one with the same low bits. All of these are
numbers of seven bits a byte, the lowest first, of which all bytes but the last have the eighth bit
(LEB128, as in DWARF 5, 7.6), the last one with its sign in the lowest bit.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s
from modecheck.engine.language.intrinsics import word_at
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0, U1, U8

LONGEST = 8
"""Bytes of a packed transition at the most: three of its kind, five of its target."""
STATES_TOGETHER = 256
"""States of a block: few enough that where a sweep asks for few states little is unpacked."""
REMEMBERED = 1 << 10
"""Kinds whose last target is remembered."""
FAILING = np.uint64(0xFFFF)
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
def get_step(packed: U8s, at: int, last: I64s) -> Any:
    """The kind and the target of a transition that is packed at a place, and where the next one
    begins. `last` has the last targets.
    """
    kind, at = get_number(packed, at)
    step, at = get_number(packed, at)
    place = np.int64(kind & np.uint64(REMEMBERED - 1))
    if step & U1 != U0:
        last[place] -= np.int64(step >> U1)
    else:
        last[place] += np.int64(step >> U1)
    return kind, last[place], at


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


class PackedSteps(NamedTuple):
    """Blocks of packed transitions: where each begins among the bytes, and the numbers of its first
    state and behind its last one.
    """

    packed: U8s
    offsets: I64s
    firsts: I64s
    ends: I64s


class StepFilter(NamedTuple):
    """Which transitions are followed: those whose kind is `allowed`, with `away` those alone that
    lead away, into the set `into` if it has words, and from outside into none of the sets whose
    words are at the addresses `gains`.
    """

    allowed: U8s
    away: np.uint64
    into: U64s
    gains: U64s


@Kernel
def holds_at(address: np.uint64, number: int) -> Any:
    """Whether a state is in the set whose words are at an address."""
    word = word_at(address + (np.uint64(number) >> SIX) * U8)
    return word >> (np.uint64(number) & LOW6) & U1 != U0


@Kernel
def is_followed(steps: StepFilter, source: int, kind: np.uint64, target: int) -> Any:
    """Whether a transition is followed."""
    if steps.allowed[kind] == 0 or (steps.away != U0 and source == target):
        return False
    if steps.into.size > 0 and not is_in(steps.into, target):
        return False
    for number in range(steps.gains.size):
        address = steps.gains[number]
        if holds_at(address, target) and not holds_at(address, source):
            return False
    return True


@Kernel
def unpack_followed(
    blocks: PackedSteps,
    block: int,
    wanted: U64s,
    steps: StepFilter,
    most: int,
    last: I64s,
    sources: U32s,
    kinds: U16s,
    targets: U32s,
) -> Any:
    """Unpack the transitions that are followed, of states that are wanted, from a block on, up to
    the last one, or until there is no room for those of one more, which has no more than `most`;
    the next block, and how many there are.
    """
    packed, filled = blocks.packed, np.int64(0)
    nobody = wanted[:0]
    while block < blocks.offsets.size and filled + most <= sources.size:
        first, end, at = blocks.firsts[block], blocks.ends[block], blocks.offsets[block]
        block += 1
        if not some_wanted(wanted, nobody, first, end):
            continue
        for slot in range(last.size):
            last[slot] = 0
        for state in range(first, end):
            head, at = get_number(packed, at)
            take = is_wanted(wanted, nobody, state)
            for _ in range(np.int64(head >> U1)):
                kind, target, at = get_step(packed, at, last)
                if take and is_followed(steps, state, kind, target):
                    sources[filled], kinds[filled] = np.uint32(state), np.uint16(kind)
                    targets[filled] = np.uint32(target)
                    filled += 1
    return block, filled


@Kernel
def settle_blocks(
    blocks: PackedSteps,
    wanted: U64s,
    barred: U64s,
    steps: StepFilter,
    own: U64s,
    base: int,
    adds: bool,
    last: I64s,
) -> Any:
    """Look from the last block to the first at states that are wanted and not barred: put those
    with a transition that is followed into a set, or unless it `adds`, take those without one out
    of it. Its words begin with the one at place `base`. How many states there are.
    """
    packed, changed = blocks.packed, np.int64(0)
    for number in range(blocks.offsets.size):
        block = blocks.offsets.size - 1 - number
        first, end, at = blocks.firsts[block], blocks.ends[block], blocks.offsets[block]
        if not some_wanted(wanted, barred, first, end):
            continue
        for slot in range(last.size):
            last[slot] = 0
        for state in range(first, end):
            head, at = get_number(packed, at)
            take = is_wanted(wanted, barred, state)
            found = take and head & U1 != U0 and is_followed(steps, state, FAILING, state)
            for _ in range(np.int64(head >> U1)):
                kind, target, at = get_step(packed, at, last)
                if take and not found:
                    found = is_followed(steps, state, kind, target)
            if take and found == adds:
                own[(state >> 6) - base] ^= U1 << (np.uint64(state) & LOW6)
                changed += 1
    return changed


@Kernel
def reach_blocks(
    blocks: PackedSteps, wanted: U64s, steps: StepFilter, own: U64s, last: I64s
) -> None:
    """Put the states behind followed transitions of wanted states into a set."""
    packed, nobody = blocks.packed, wanted[:0]
    for block in range(blocks.offsets.size):
        first, end, at = blocks.firsts[block], blocks.ends[block], blocks.offsets[block]
        if not some_wanted(wanted, nobody, first, end):
            continue
        for slot in range(last.size):
            last[slot] = 0
        for state in range(first, end):
            head, at = get_number(packed, at)
            take = is_wanted(wanted, nobody, state)
            for _ in range(np.int64(head >> U1)):
                kind, target, at = get_step(packed, at, last)
                if take and is_followed(steps, state, kind, target):
                    own[target >> 6] |= U1 << (np.uint64(target) & LOW6)
