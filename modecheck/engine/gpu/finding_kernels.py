"""Find states on a GPU: a thread makes the successors of a state and enters them in the table."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.gpu.shared_table_kernels import (
    FOUND,
    IS_HALTED,
    NO_ROOM,
    TRANSITIONS,
    enter_word,
    enter_words,
)
from modecheck.engine.language.annotations import U64s
from modecheck.engine.language.gpu_intrinsics import (
    add_together,
    fresh_word,
    take_several,
    thread_count,
    thread_number,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0, U1, U8


@Kernel
def reached_from(states: U64s, first: np.uint64, waiting: U64s) -> Any:  # noqa: ARG001 - see below
    """Write the words of the states that one leads to, whose own stand in `states` from `first` on;
    how many they are. The code of a product takes its place.
    """
    return U0


@Kernel
def enter_all(
    states: U64s, table: U64s, waiting: U64s, count: np.uint64, counters: U64s, most: np.uint64
) -> Any:
    """Put states of one word into the table, and what is new behind the other states; whether there
    was no room for some.
    """
    new, is_full = U0, False
    for one in range(count):
        word = waiting[one]
        result = enter_word(table, word)
        is_full = is_full or result == NO_ROOM
        if result == U1:
            waiting[new] = word
            new += U1
    place = take_several(np.uint64(counters.ctypes.data) + np.uint64(FOUND) * U8, new)
    for one in range(new):
        if place + one < most:
            states[place + one] = waiting[one]
    return is_full or place + new > most


@Kernel
def enter_reached(
    shape: tuple[int, ...],
    states: U64s,
    table: U64s,
    waiting: U64s,
    count: np.uint64,
    counters: U64s,
    most: np.uint64,
) -> Any:
    """Enter so many states; whether there was no room for some."""
    words = np.uint64(len(shape))
    if words == U1:
        return enter_all(states, table, waiting, count, counters, most)
    is_full = False
    for one in range(count):
        result = enter_words(shape, states, table, waiting, one * words, counters, most)
        is_full = is_full or result == NO_ROOM
    return is_full


@Kernel
def find_states(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    states: U64s,
    table: U64s,
    most: int,
    counters: U64s,
    waiting: U64s,
) -> None:
    """Expand the states from `begin` to `end`. New ones are appended, unless there are `most`: then
    `counters` say that room ran out, and these states have to be expanded once more.
    """
    words, most_ = np.uint64(len(shape)), np.uint64(most)
    found = np.uint64(counters.ctypes.data) + np.uint64(FOUND) * U8
    number, made = np.uint64(begin) + thread_number(), U0
    while number < np.uint64(end):
        # Looked at below: until then, what it costs to ask passes beside the rest.
        so_far = fresh_word(found)
        count = reached_from(states, number * words, waiting)
        made += count
        is_full = enter_reached(shape, states, table, waiting, count, counters, most_)
        if is_full or so_far >= most_:
            counters[IS_HALTED] = U1
            break
        number += thread_count()
    add_together(np.uint64(counters.ctypes.data) + np.uint64(TRANSITIONS) * U8, made)
