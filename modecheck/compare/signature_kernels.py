"""Signatures of states: ascending lists of `label << 32 | block`, of which equal ones are kept once
and have one number.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from modecheck.engine.language.annotations import I64s, U64s
from modecheck.engine.language.kernel import Kernel

MIX = np.uint64(0x9E3779B97F4A7C15)
"""An odd constant with well-mixed bits: the golden ratio's."""
HALF = np.uint64(32)
FEW = 24
"""Items that are sorted by insertion: less than that is not worth a heap."""
NO_ROOM = -1


class Signatures(NamedTuple):
    """The one being made, and all that are known: where each begins in the pool; a hash table of
    their numbers, plus one.
    """

    items: U64s
    pool: U64s
    starts: I64s
    table: I64s


@Kernel
def sink(items: U64s, at: int, size: int) -> None:
    """Puts an item of a heap whose largest stands in front below all that are larger."""
    item = items[at]
    while 2 * at + 1 < size:
        child = 2 * at + 1
        if child + 1 < size and items[child + 1] > items[child]:
            child += 1
        if items[child] <= item:
            break
        items[at] = items[child]
        at = child
    items[at] = item


@Kernel
def sort(items: U64s, size: int) -> None:
    """Sorts the first items: few by insertion, many by a heap (Williams 1964)."""
    if size <= FEW:
        for number in range(1, size):
            item, at = items[number], number
            while at > 0 and items[at - 1] > item:
                items[at] = items[at - 1]
                at -= 1
            items[at] = item
        return
    for at in range(size // 2 - 1, -1, -1):
        sink(items, at, size)
    for last in range(size - 1, 0, -1):
        items[0], items[last] = items[last], items[0]
        sink(items, 0, last)


@Kernel
def sorted_once(items: U64s, size: int) -> Any:
    """Sorts the first items and leaves out doubles; returns how many are left."""
    sort(items, size)
    kept = 0
    for number in range(size):
        if kept == 0 or items[kept - 1] != items[number]:
            items[kept] = items[number]
            kept += 1
    return kept


@Kernel
def hash_of_list(items: U64s, begin: int, end: int) -> Any:
    hash_ = np.uint64(end - begin) * MIX
    for number in range(begin, end):
        hash_ = (hash_ ^ items[number]) * MIX
        hash_ ^= hash_ >> HALF
    return hash_


@Kernel
def find_slot(known: Signatures, size: int) -> Any:
    """The slot of the table that holds the number (plus one) of an equal signature, or is free."""
    items, pool, starts, table = known
    mask = np.uint64(table.size - 1)
    slot = hash_of_list(items, 0, size) & mask
    while table[slot] != 0:
        begin = starts[table[slot] - 1]
        if starts[table[slot]] - begin == size:
            same = True
            for number in range(size):
                if pool[begin + number] != items[number]:
                    same = False
                    break
            if same:
                return slot
        slot = (slot + np.uint64(1)) & mask
    return slot


@Kernel
def fill_table(known: Signatures, count: int) -> None:
    """Puts the signatures that are known into an empty table."""
    mask = np.uint64(known.table.size - 1)
    for number in range(count):
        slot = hash_of_list(known.pool, known.starts[number], known.starts[number + 1]) & mask
        while known.table[slot] != 0:
            slot = (slot + np.uint64(1)) & mask
        known.table[slot] = number + 1


@Kernel
def remember(known: Signatures, size: int, count: int) -> Any:
    """The number of the signature that was made, which is `count` where it is new; `NO_ROOM` where
    it could not be kept.
    """
    slot = find_slot(known, size)
    if known.table[slot] != 0:
        return known.table[slot] - 1
    begin = known.starts[count]
    if begin + size > known.pool.size or count + 2 > known.starts.size:
        return NO_ROOM
    known.pool[begin : begin + size] = known.items[:size]
    known.starts[count + 1] = begin + size
    known.table[slot] = count + 1
    return count
