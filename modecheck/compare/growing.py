"""Grows the arrays of refinement when a kernel runs out of room in them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from modecheck.compare.labelled import Array
from modecheck.compare.signature_kernels import Signatures, fill_table


class Known:
    """The signatures of a refinement. The table has twice as many slots as signatures fit."""

    def __init__(self) -> None:
        self.signatures = Signatures(
            items=np.empty(1 << 6, np.uint64),
            pool=np.empty(1 << 12, np.uint64),
            starts=np.zeros((1 << 10) + 1, np.int64),
            table=np.zeros(1 << 11, np.int64),
        )

    def grow(self, count: int) -> None:
        """Double the room; `count` signatures are known so far."""
        items, pool, starts, table = self.signatures
        longer = np.zeros(2 * (starts.size - 1) + 1, np.int64)
        longer[: starts.size] = starts
        more = (_longer(items), _longer(pool), longer, np.zeros(2 * table.size, np.int64))
        self.signatures = Signatures(*more)
        fill_table(self.signatures, count)


def filled(
    kind: Any, ends: Array, most: int, fill: Callable[[Array, int, int], int]
) -> Array | None:
    """What `fill` writes for all states, where each has its end in `ends`; None when that is more
    than `most`. Called with an array, the first state that is missing, and that bound, it says
    which one is missing then.
    """
    room, state, states = np.empty(1 << 12, kind), 0, ends.size - 1
    while (state := fill(room, state, most)) < states and ends[state] <= most:
        room = _longer(room)
    return room[: int(ends[-1])] if ends[state] <= most else None


def _longer(array: Array) -> Array:
    longer = np.empty(2 * array.size, array.dtype)
    longer[: array.size] = array
    return longer
