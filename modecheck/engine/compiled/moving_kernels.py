"""The inner loops that move states from some partitions to others."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.compiled.intrinsics import prefetch
from modecheck.engine.compiled.kernels import (
    AHEAD,
    LOW,
    U1,
    U64,
    hash_of,
    lean_kernel,
    line_of,
    owner_of,
    put,
)


@lean_kernel
def fill_table(states: Any, words: Any, count: Any, table: Any, lines: Any) -> None:
    """Put states, all of them different, into an empty table."""
    base, lines_ = np.uint64(table.ctypes.data), np.uint64(lines)
    for number in range(count):
        if number + AHEAD < count:
            early = hash_of(states, (number + AHEAD) * words, words)
            prefetch(base + line_of(early, lines_) * U64)
        hash_ = hash_of(states, number * words, words)
        stored = (hash_ & ~LOW) | np.uint64(number + 1)
        if words == 1:
            stored = states[number] + U1
        put(table, base, stored, line_of(hash_, lines_))


@lean_kernel
def count_owned(
    states: Any, words: Any, begins: Any, own: Any, partitions: Any, counts: Any
) -> None:
    """Add to `counts`, for each level, how many of its states a partition of so many owns."""
    mine, owners = np.uint64(own), np.uint64(partitions)
    for level in range(counts.size):
        for number in range(begins[level], begins[level + 1]):
            if owner_of(hash_of(states, number * words, words), owners) == mine:
                counts[level] += 1


@lean_kernel
def take_owned(
    states: Any, words: Any, begins: Any, own: Any, partitions: Any, taken: Any, places: Any
) -> None:
    """Copy those states to where `places` says for each level, and move these on."""
    mine, owners = np.uint64(own), np.uint64(partitions)
    for level in range(places.size):
        for number in range(begins[level], begins[level + 1]):
            if owner_of(hash_of(states, number * words, words), owners) == mine:
                for offset in range(words):
                    taken[places[level] * words + offset] = states[number * words + offset]
                places[level] += 1
