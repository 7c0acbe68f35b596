"""States of levels that were expanded, kept small until they are numbered.

Nobody looks at them meanwhile, and within its level their order is free. So each level is sorted,
as it has to be in the end, and of each state only the difference to the one before it is kept, in
groups of seven bits, the lowest first, each but the last marked by the bit above: of millions of
states this takes one to two bytes each.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from modecheck.engine.language.annotations import U8s, U64s
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0

GROUP = np.uint64(7)
MORE = np.uint64(1 << 7)
LONGEST = 10
"""Groups of seven bits that a word takes at the most."""


@Kernel
def pack_words(words: U64s, packed: U8s) -> Any:
    """Pack words into bytes, for which there must be room; how many they are."""
    at, before = 0, U0
    for number in range(words.size):
        # Also where the next level begins, with less: differences are modulo 2^64.
        rest = words[number] - before
        before = words[number]
        while rest >= MORE:
            packed[at] = np.uint8(rest & (MORE - np.uint64(1)) | MORE)
            rest >>= GROUP
            at += 1
        packed[at] = np.uint8(rest)
        at += 1
    return at


@Kernel
def unpack_words(packed: U8s, words: U64s) -> None:
    """Fill an array with the words that were packed."""
    at, before = 0, U0
    for number in range(words.size):
        shift = U0
        group = MORE
        while group >= MORE:
            group = np.uint64(packed[at])
            at += 1
            before += (group & (MORE - np.uint64(1))) << shift
            shift += GROUP
        words[number] = before


class Packed(NamedTuple):
    """So many words, as bytes."""

    size: int
    data: Any

    def words(self) -> Any:
        """The words, unpacked."""
        words = np.empty(self.size, np.uint64)
        unpack_words(self.data, words)
        return words


def packed_levels(states: Any, ends: Sequence[int]) -> Packed:
    """Sort levels of one-word states, which end at these places, and pack them."""
    for begin, end in pairwise([0, *ends]):
        states[begin:end].sort()
    room = np.empty(LONGEST * states.size, np.uint8)
    used = int(pack_words(states.astype(np.uint64, copy=False), room))
    return Packed(states.size, room[:used].copy())
