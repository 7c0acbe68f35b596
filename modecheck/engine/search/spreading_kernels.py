"""The inner loops of a spread in which several threads pass on from the states of one distance.

What reaches a state first is told by places in `inside`, as if one thread had gone through them:
first all places claim what they lead to, of which the least one keeps it, then each part of the
places takes what is its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from modecheck.engine.language.intrinsics import keep_least
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.search.search_kernels import UNREACHED

if TYPE_CHECKING:
    from modecheck.engine.language.annotations import I64s, U32s, U64s

SHORT = np.uint64(4)
"""Bytes of a claim."""


@Kernel
def claim_targets(
    begin: int,
    end: int,
    first: I64s,
    targets: U32s,
    linked: int,
    marks: U64s,
    blocked: np.uint64,
    enters: bool,
    came_from: U32s,
    inside: U32s,
    claims: U32s,
) -> None:
    """Claim the states behind the places from `begin` to `end` that were not reached."""
    base = np.uint64(claims.ctypes.data)
    for place in range(begin, end):
        state = inside[place]
        if state >= linked:
            continue
        for edge in range(first[state], first[state + 1]):
            target = targets[edge]
            if came_from[target] != UNREACHED or claims[target] <= place:
                continue
            if enters or not marks[target] & blocked:
                keep_least(base + np.uint64(target) * SHORT, np.uint64(place))


@Kernel
def take_targets(
    begin: int,
    end: int,
    first: I64s,
    targets: U32s,
    linked: int,
    marks: U64s,
    blocked: np.uint64,
    came_from: U32s,
    inside: U32s,
    claims: U32s,
    reached: U32s,
    entered: U32s,
) -> Any:
    """Write down what these places have claimed: what is passed on from, and what is entered; how
    many there are of both.
    """
    count: Any = 0
    entries: Any = 0
    for place in range(begin, end):
        state = inside[place]
        if state >= linked:
            continue
        for edge in range(first[state], first[state + 1]):
            target = targets[edge]
            if came_from[target] != UNREACHED or claims[target] != place:
                continue
            came_from[target] = state
            if not marks[target] & blocked:
                reached[count] = target
                count += 1
            else:
                entered[entries] = target
                entries += 1
    return count, entries
