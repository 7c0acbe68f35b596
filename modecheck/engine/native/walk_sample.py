"""What walks are drawn with, as kernels: random numbers, hashes, the sample of visited states.

Written after `modecheck.engine.search.walking`, and sharing no code with it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import I64s, U64s
from modecheck.engine.language.intrinsics import lowest_bit
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import MULTIPLY_ONE, MULTIPLY_TWO, U8
from modecheck.engine.search.walking import (
    BEND,
    FINE_BITS,
    GOLDEN,
    MOST_RARITY,
    SCRAMBLE_ONE,
    SCRAMBLE_TWO,
)

U0, U1, U2, U3, U32 = (np.uint64(number) for number in (0, 1, 2, 3, 32))
U27, U30, U31 = (np.uint64(number) for number in (27, 30, 31))
STEPPING = np.uint64(GOLDEN)
FIRST_SCRAMBLE, SECOND_SCRAMBLE = np.uint64(SCRAMBLE_ONE), np.uint64(SCRAMBLE_TWO)
TOP_BIT = np.uint64(1 << 63)
FINE, COARSE = np.uint64(FINE_BITS), np.uint64(64 - FINE_BITS)
FINE_ONE, BENT = np.uint64(1 << FINE_BITS), np.uint64(BEND)
NOT_COUNT = ~U3

STEPS, KEPT, ONCE, TWICE, HALVINGS, OFFERED = range(6)
"""Places in the array of counters; `OFFERED` counts the steps of all states that were looked at."""


@Kernel
def scrambled(value: np.uint64) -> Any:
    """One output of splitmix64."""
    value = (value ^ (value >> U30)) * FIRST_SCRAMBLE
    value = (value ^ (value >> U27)) * SECOND_SCRAMBLE
    return value ^ (value >> U31)


@Kernel
def number(dice: U64s) -> Any:
    """The next random number of a walk."""
    dice[0] += STEPPING
    return scrambled(dice[0])


@Kernel
def below(dice: U64s, count: int) -> Any:
    """A random number from 0 to `count` - 1."""
    return np.int64(((number(dice) >> U32) * np.uint64(count)) >> U32)


@Kernel
def race_time(value: np.uint64) -> Any:
    """A number of exponential distribution."""
    even = value >> COARSE
    bend = (((even * (FINE_ONE - even)) >> FINE) * BENT) >> U8
    return (lowest_bit(value | TOP_BIT) << FINE) + FINE_ONE - U1 - even - bend


@Kernel
def mixed(hash_: np.uint64, word: np.uint64) -> Any:
    """One more word mixed into a hash; apart from the tables', since all walks depend on it."""
    hash_ = (hash_ ^ word) * MULTIPLY_ONE
    hash_ = (hash_ ^ (hash_ >> U32)) * MULTIPLY_TWO
    return hash_ ^ (hash_ >> U32)


@Kernel
def hash_at(words: U64s, first: int, count: int) -> Any:
    """The hash of the state whose words begin at `first`."""
    result = U0
    for offset in range(count):
        result = mixed(result, words[first + offset])
    return result * MULTIPLY_ONE


@Kernel
def hash_within(state: U64s, masks: U64s) -> Any:
    """The hash of what the masks leave of a state."""
    result = U0
    for offset in range(masks.size):
        result = mixed(result, state[offset] & masks[offset])
    return result * MULTIPLY_ONE


@Kernel
def place_in(hash_: np.uint64, size: int) -> Any:
    """Where to look first in a table of that size."""
    return np.int64(((hash_ >> U32) * np.uint64(size)) >> U32)


@Kernel
def visit(table: U64s, counters: I64s, hash_: np.uint64) -> None:
    """Count a visit to a state, if it belongs to the sample."""
    within = (U1 << np.uint64(counters[HALVINGS])) - U1
    if (hash_ >> U2) & within != U0:
        return
    key, place = hash_ & NOT_COUNT, place_in(hash_, table.size)
    while table[place] & U3 != U0 and table[place] & NOT_COUNT != key:
        place = place + 1 if place + 1 < table.size else 0
    # Only "once", "twice" and "more often" matter to the estimates, so two bits are enough.
    count = table[place] & U3
    if count == U0:
        counters[KEPT] += 1
        counters[ONCE] += 1
    elif count == U1:
        counters[ONCE] -= 1
        counters[TWICE] += 1
    elif count == U2:
        counters[TWICE] -= 1
    table[place] = key | min(count + U1, U3)


@Kernel
def knows(table: U64s, hash_: np.uint64) -> Any:
    """Whether a state is in the sample."""
    key, place = hash_ & NOT_COUNT, place_in(hash_, table.size)
    while table[place] & U3 != U0:
        if table[place] & NOT_COUNT == key:
            return True
        place = place + 1 if place + 1 < table.size else 0
    return False


@Kernel
def resettle(old: U64s, new: U64s, counters: I64s) -> None:
    """Fill an empty table with what of another belongs to the sample, and count it anew."""
    within = (U1 << np.uint64(counters[HALVINGS])) - U1
    counters[KEPT] = counters[ONCE] = counters[TWICE] = 0
    for entry in old:
        count = entry & U3
        if count == U0 or (entry >> U2) & within != U0:
            continue
        place = place_in(entry, new.size)
        while new[place] & U3 != U0:
            place = place + 1 if place + 1 < new.size else 0
        new[place] = entry
        counters[KEPT] += 1
        counters[ONCE] += count == U1
        counters[TWICE] += count == U2


@Kernel
def bits_of(count: int) -> Any:
    """How many bits a count has, up to `MOST_RARITY`."""
    bits = 0
    while count and bits < MOST_RARITY:
        count >>= 1
        bits += 1
    return bits
