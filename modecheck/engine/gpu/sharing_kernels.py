"""Find states on several GPUs: each has a share of the states, and a table of them; what belongs to
another one is written to an outbox, which is entered there.

An outbox has as much room for each device. Counters say how many states were written for each, also
where there was no room for all: then the same states have to be expanded once more.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.gpu.finding_kernels import enter_reached, reached_from
from modecheck.engine.gpu.shared_table_kernels import (
    COUNTERS,
    FOUND,
    IS_HALTED,
    TRANSITIONS,
    owner_in,
)
from modecheck.engine.language.annotations import U8s, U64s
from modecheck.engine.language.gpu_intrinsics import (
    add_together,
    fresh_word,
    take_several_each,
    thread_count,
    thread_number,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.native_numbers import U0, U1, U8
from modecheck.engine.native.table_kernels import hash_of

ENTERED_TOGETHER = 4
"""States that were sent and that a thread enters at the same time."""


@Kernel
def find_owners(
    shape: tuple[int, ...],
    waiting: U64s,
    count: np.uint64,
    devices: np.uint64,
    owners: U8s,
) -> None:
    """Whose each of the states is."""
    words = np.uint64(len(shape))
    for one in range(count):
        hash_ = hash_of(waiting, np.int64(one * words), len(shape))
        owners[one] = np.uint8(owner_in(hash_, devices))


@Kernel
def write_for(
    shape: tuple[int, ...],
    waiting: U64s,
    count: np.uint64,
    owners: U8s,
    device: np.uint64,
    room: np.uint64,
    outbox: U64s,
    counters: U64s,
) -> None:
    """Write the states of a device to its part of the outbox, which has room for so many."""
    words, many = np.uint64(len(shape)), U0
    for one in range(count):
        if np.uint64(owners[one]) == device:
            many += U1
    sent = np.uint64(counters.ctypes.data) + (np.uint64(COUNTERS) + device) * U8
    place = take_several_each(sent, many)
    for one in range(count):
        if np.uint64(owners[one]) == device:
            if place < room:
                at = (device * room + place) * words
                for offset in range(words):
                    outbox[at + offset] = waiting[one * words + offset]
            place += U1


@Kernel
def keep_own(
    shape: tuple[int, ...], waiting: U64s, count: np.uint64, owners: U8s, own: np.uint64
) -> Any:
    """Have the states of one device stand before all others; how many they are."""
    words, kept = np.uint64(len(shape)), U0
    for one in range(count):
        if np.uint64(owners[one]) == own:
            for offset in range(words):
                waiting[kept * words + offset] = waiting[one * words + offset]
            kept += U1
    return kept


@Kernel
def find_and_send(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    states: U64s,
    table: U64s,
    most: int,
    counters: U64s,
    own: np.uint64,
    devices: np.uint64,
    outbox: U64s,
    waiting: U64s,
    owners: U8s,
) -> None:
    """As `find_states`, where the states are one device's own, and targets of others are sent."""
    words, most_ = np.uint64(len(shape)), np.uint64(most)
    room = np.uint64(len(outbox)) // (devices * words)
    found = np.uint64(counters.ctypes.data) + np.uint64(FOUND) * U8
    number, made = np.uint64(begin) + thread_number(), U0
    while number < np.uint64(end):
        so_far = fresh_word(found)
        count = reached_from(states, number * words, waiting)
        made += count
        find_owners(shape, waiting, count, devices, owners)
        for device in range(devices):
            if device != own:
                write_for(shape, waiting, count, owners, device, room, outbox, counters)
        count = keep_own(shape, waiting, count, owners, own)
        is_full = enter_reached(shape, states, table, waiting, count, counters, most_)
        if is_full or so_far >= most_:
            counters[IS_HALTED] = U1
            break
        number += thread_count()
    add_together(np.uint64(counters.ctypes.data) + np.uint64(TRANSITIONS) * U8, made)


@Kernel
def deal_states(
    shape: tuple[int, ...],
    begin: int,
    end: int,
    states: U64s,
    counters: U64s,
    devices: np.uint64,
    outbox: U64s,
    waiting: U64s,
    owners: U8s,
) -> None:
    """Write each of the states from `begin` to `end` to the outbox, for whoever it belongs to."""
    words = np.uint64(len(shape))
    room = np.uint64(len(outbox)) // (devices * words)
    number = np.uint64(begin) + thread_number()
    while number < np.uint64(end):
        for offset in range(words):
            waiting[offset] = states[number * words + offset]
        owners[0] = np.uint8(owner_in(hash_of(waiting, 0, len(shape)), devices))
        for device in range(devices):
            write_for(shape, waiting, U1, owners, device, room, outbox, counters)
        number += thread_count()


@Kernel
def enter_sent(
    shape: tuple[int, ...],
    count: int,
    inbox: U64s,
    states: U64s,
    table: U64s,
    most: int,
    counters: U64s,
    waiting: U64s,
) -> None:
    """Enter the first states of an inbox."""
    words, most_ = np.uint64(len(shape)), np.uint64(most)
    number = thread_number()
    while number < np.uint64(count):
        many = U0
        while many < np.uint64(ENTERED_TOGETHER) and number < np.uint64(count):
            for offset in range(words):
                waiting[many * words + offset] = inbox[number * words + offset]
            many += U1
            number += thread_count()
        if enter_reached(shape, states, table, waiting, many, counters, most_):
            counters[IS_HALTED] = U1
            break
