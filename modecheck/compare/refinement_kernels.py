"""The inner loops of partition refinement. What they compute, and why, is told in `refinement`.

Transitions are grouped by state: those of state `s` are `first[s]` to `first[s + 1] - 1`. A
signature is an ascending list of `label << 32 | block`; equal ones are kept once and have one
number. A heap is an array whose smallest item stands in front (Williams 1964, from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

MIX = np.uint64(0x9E3779B97F4A7C15)
"""An odd constant with well-mixed bits: the golden ratio's."""
HALF = np.uint64(32)
LOW = np.uint64(0xFFFFFFFF)
FEW = 24
"""Items that are sorted by insertion: a call costs more than the sorting."""

_compiled: Any = njit(nogil=True, cache=True, boundscheck=False)


@_compiled
def group(count: Any, keys: Any, ones: Any, others: Any) -> Any:
    """Sorts pairs by a key below `count`, stably: where each key's pairs begin, and the pairs."""
    first = np.zeros(count + 1, np.int64)
    for key in keys:
        first[key + 1] += 1
    for key in range(count):
        first[key + 1] += first[key]
    at = first[:count].copy()
    sorted_ones = np.empty(keys.size, np.int32)
    sorted_others = np.empty(keys.size, np.int32)
    for number in range(keys.size):
        place = at[keys[number]]
        at[keys[number]] = place + 1
        sorted_ones[place] = ones[number]
        sorted_others[place] = others[number]
    return first, sorted_ones, sorted_others


@_compiled
def close(stack: Any, height: Any, root: Any, component: Any, number: Any) -> Any:
    """Takes a component off the stack, down to its root; returns the height that is left."""
    while True:
        height -= 1
        component[stack[height]] = number
        if stack[height] == root:
            return height


@_compiled
def next_step(place: Any, end: Any, labels: Any, state: Any) -> Any:
    """Goes on to the next silent step of a state: where it is, or -1 behind the last one."""
    at = place[state]
    while at < end and labels[at] != 0:
        at += 1
    place[state] = at + 1
    return at if at < end else -1


@_compiled
def silent_components(count: Any, first: Any, labels: Any, targets: Any, component: Any) -> Any:
    """Numbers the strongly connected components of the silent steps (Tarjan 1972), and returns how
    many there are. A silent step leads to the same or to a smaller number.
    """
    order, lowest = np.zeros(count, np.int32), np.zeros(count, np.int32)
    place = first[:count].copy()
    stack, road = np.empty(count, np.int32), np.empty(count, np.int32)
    component[:] = -1
    found, met, height = 0, 0, 0
    for root in range(count):
        if order[root] != 0:
            continue
        length, entered = 0, root
        while True:
            if entered >= 0:
                met += 1
                order[entered] = lowest[entered] = met
                road[length], stack[height] = entered, entered
                length, height = length + 1, height + 1
            state, entered = road[length - 1], -1
            at = next_step(place, first[state + 1], labels, state)
            if at >= 0:
                target = targets[at]
                if order[target] == 0:
                    entered = target
                elif component[target] < 0:
                    lowest[state] = min(lowest[state], order[target])
                continue
            length -= 1
            if lowest[state] == order[state]:
                height = close(stack, height, state, component, found)
                found += 1
            if length == 0:
                break
            before = road[length - 1]
            lowest[before] = min(lowest[before], lowest[state])
    return found


@_compiled
def roomy(array: Any, needed: Any) -> Any:
    """The array, or a longer copy of it that has room for so many items."""
    if needed <= array.size:
        return array
    longer = np.zeros(max(needed, 2 * array.size), array.dtype)
    longer[: array.size] = array
    return longer


@_compiled
def sorted_once(items: Any, size: Any) -> Any:
    """Sorts the first items and leaves out doubles; returns how many are left."""
    if size > FEW:
        items[:size].sort()
    else:
        for number in range(1, size):
            item, at = items[number], number
            while at > 0 and items[at - 1] > item:
                items[at] = items[at - 1]
                at -= 1
            items[at] = item
    kept = 0
    for number in range(size):
        if kept == 0 or items[kept - 1] != items[number]:
            items[kept] = items[number]
            kept += 1
    return kept


@_compiled
def hash_of_list(items: Any, begin: Any, end: Any) -> Any:
    hash_ = np.uint64(end - begin) * MIX
    for number in range(begin, end):
        hash_ = (hash_ ^ items[number]) * MIX
        hash_ ^= hash_ >> HALF
    return hash_


@_compiled
def find_slot(items: Any, size: Any, pool: Any, starts: Any, table: Any) -> Any:
    """The slot of the table that holds the number (plus one) of an equal signature, or is free."""
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


@_compiled
def wider_table(table: Any, pool: Any, starts: Any, known: Any) -> Any:
    """A table of twice the size with the same signatures."""
    wider = np.zeros(2 * table.size, np.int64)
    mask = np.uint64(wider.size - 1)
    for number in range(known):
        slot = hash_of_list(pool, starts[number], starts[number + 1]) & mask
        while wider[slot] != 0:
            slot = (slot + np.uint64(1)) & mask
        wider[slot] = number + 1
    return wider


@_compiled
def remember(items: Any, size: Any, pool: Any, starts: Any, table: Any, known: Any) -> Any:
    """The number of a signature, new or not, and all signatures with it."""
    slot = find_slot(items, size, pool, starts, table)
    if table[slot] != 0:
        return table[slot] - 1, pool, starts, table, known
    starts = roomy(starts, known + 2)
    pool = roomy(pool, starts[known] + size)
    pool[starts[known] : starts[known] + size] = items[:size]
    starts[known + 1] = starts[known] + size
    known += 1
    table[slot] = known
    if 2 * known > table.size:
        table = wider_table(table, pool, starts, known)
    return known - 1, pool, starts, table, known


@_compiled
def push(heap: Any, size: Any, item: Any) -> None:
    """Adds an item to a heap of so many."""
    at = size
    while at > 0 and heap[(at - 1) >> 1] > item:
        heap[at] = heap[(at - 1) >> 1]
        at = (at - 1) >> 1
    heap[at] = item


@_compiled
def pop(heap: Any, size: Any) -> Any:
    """Takes the smallest item out of a heap of so many."""
    smallest, item, left = heap[0], heap[size - 1], size - 1
    at = 0
    while 2 * at + 1 < left:
        child = 2 * at + 1
        if child + 1 < left and heap[child + 1] < heap[child]:
            child += 1
        if heap[child] >= item:
            break
        heap[at] = heap[child]
        at = child
    heap[at] = item
    return smallest


@_compiled
def largest_part(scratch: Any, count: Any, others: Any) -> Any:
    """Where the largest part of the sorted changed members begins, or -1 if the others are more."""
    largest, keeps, start = others, -1, 0
    for place in range(1, count + 1):
        if place == count or scratch[place] >> HALF != scratch[start] >> HALF:
            if place - start > largest:
                largest, keeps = place - start, start
            start = place
    return keeps


@_compiled
def rename(
    block: Any, members: Any, begin: Any, end: Any, name: Any, moved: Any, moves: Any
) -> Any:
    """Gives some members a new block, and notes that they moved; returns how many moved so far."""
    for at in range(begin, end):
        block[members[at]] = name
        moved[moves] = members[at]
        moves += 1
    return moves


@_compiled
def split(
    block: Any,
    members: Any,
    position: Any,
    begin: Any,
    end: Any,
    changed: Any,
    signatures: Any,
    now: Any,
    scratch: Any,
    blocks: Any,
    number: Any,
    moved: Any,
    moves: Any,
) -> Any:
    """Splits a block whose first `changed` members have new signatures. The largest part keeps the
    number; members of the others are added to `moved`. Returns how many blocks and moved there are.
    """
    low, high, count = begin[number], end[number], changed[number]
    changed[number] = 0
    for place in range(count):
        state = members[low + place]
        scratch[place] = (np.uint64(now[state]) << HALF) | np.uint64(state)
    scratch[:count].sort()
    for place in range(count):
        state = np.int64(scratch[place] & LOW)
        members[low + place] = state
        position[state] = low + place
    keeps = largest_part(scratch, count, high - low - count)
    if keeps >= 0 and low + count < high:
        begin[blocks], end[blocks], signatures[blocks] = low + count, high, signatures[number]
        moves = rename(block, members, low + count, high, blocks, moved, moves)
        blocks += 1
    if keeps < 0:
        begin[number] = low + count
    start = 0
    for place in range(1, count + 1):
        if place < count and scratch[place] >> HALF == scratch[start] >> HALF:
            continue
        own = number if start == keeps else blocks
        begin[own], end[own] = low + start, low + place
        signatures[own] = np.int64(scratch[start] >> HALF)
        if start != keeps:
            moves = rename(block, members, low + start, low + place, blocks, moved, moves)
            blocks += 1
        start = place
    return blocks, moves


@_compiled
def list_signature(
    state: Any,
    first: Any,
    labels: Any,
    targets: Any,
    inert: Any,
    block: Any,
    signatures: Any,
    judged: Any,
    now: Any,
    sweep: Any,
    pool: Any,
    starts: Any,
    items: Any,
) -> Any:
    """The signature of a state, in `items` (perhaps a longer array), and its length."""
    own, size = block[state], 0
    for at in range(first[state], first[state + 1]):
        target = targets[at]
        if inert and labels[at] == 0 and block[target] == own:
            behind = now[target] if judged[target] == sweep else signatures[own]
            items = roomy(items, size + starts[behind + 1] - starts[behind])
            for number in range(starts[behind], starts[behind + 1]):
                items[size] = pool[number]
                size += 1
        else:
            items = roomy(items, size + 1)
            items[size] = (np.uint64(labels[at]) << HALF) | np.uint64(block[target])
            size += 1
    return items, sorted_once(items, size)


@_compiled
def ask(state: Any, ordered: Any, queued: Any, heap: Any, waiting: Any) -> Any:
    """Puts a state into the heap unless it is there; returns how many are. Where their order does
    not matter, it is a plain stack.
    """
    if queued[state] == 0:
        queued[state] = 1
        if ordered:
            push(heap, waiting, state)
        else:
            heap[waiting] = state
        waiting += 1
    return waiting


@_compiled
def ask_before(
    state: Any,
    into: Any,
    labels_into: Any,
    sources: Any,
    block: Any,
    queued: Any,
    heap: Any,
    waiting: Any,
) -> Any:
    """Asks for the states from which an inert step leads to a state."""
    for at in range(into[state], into[state + 1]):
        if labels_into[at] == 0 and block[sources[at]] == block[state]:
            waiting = ask(sources[at], True, queued, heap, waiting)
    return waiting


@_compiled
def to_front(state: Any, members: Any, position: Any, front: Any) -> None:
    """Exchanges a state with the one that stands at a place."""
    place, other = position[state], members[front]
    members[front], members[place] = state, other
    position[state], position[other] = front, place


@_compiled
def refine(
    count: Any,
    first: Any,
    labels: Any,
    targets: Any,
    into: Any,
    labels_into: Any,
    sources: Any,
    inert: Any,
    block: Any,
) -> Any:
    """Numbers the classes of equivalent states in `block`, and returns how many there are.

    With `inert`, silent steps within a block are passed over, and silent steps must lead to smaller
    numbers. Without, label 0 is a label like any other.
    """
    members, position = np.arange(count).astype(np.int32), np.arange(count).astype(np.int32)
    begin, end = np.zeros(count + 1, np.int64), np.zeros(count + 1, np.int64)
    changed, signatures = np.zeros(count + 1, np.int64), np.full(count + 1, -1, np.int64)
    end[0], blocks, sweep = count, 1, 0
    block[:] = 0
    heap, waiting = np.arange(count).astype(np.int32), count
    queued, judged = np.ones(count, np.uint8), np.zeros(count, np.int64)
    now, scratch = np.zeros(count, np.int64), np.empty(count, np.uint64)
    touched, moved = np.empty(count, np.int32), np.empty(count, np.int32)
    items, pool = np.empty(64, np.uint64), np.empty(1 << 12, np.uint64)
    starts, table, known = np.zeros(1 << 10, np.int64), np.zeros(1 << 11, np.int64), 0
    while waiting:
        sweep += 1
        touches, moves = 0, 0
        while waiting:
            state = pop(heap, waiting) if inert else heap[waiting - 1]
            waiting -= 1
            queued[state] = 0
            items, size = list_signature(
                state, first, labels, targets, inert, block, signatures, judged, now, sweep,
                pool, starts, items,
            )  # fmt: skip
            signature, pool, starts, table, known = remember(
                items, size, pool, starts, table, known
            )
            judged[state], now[state] = sweep, signature
            own = block[state]
            if signature == signatures[own]:
                continue
            if changed[own] == 0:
                touched[touches] = own
                touches += 1
            to_front(state, members, position, begin[own] + changed[own])
            changed[own] += 1
            if inert:
                waiting = ask_before(
                    state, into, labels_into, sources, block, queued, heap, waiting
                )
        for number in range(touches):
            blocks, moves = split(
                block, members, position, begin, end, changed, signatures, now, scratch,
                blocks, touched[number], moved, moves,
            )  # fmt: skip
        for number in range(moves):
            waiting = ask(moved[number], inert, queued, heap, waiting)
            for at in range(into[moved[number]], into[moved[number] + 1]):
                waiting = ask(sources[at], inert, queued, heap, waiting)
    return blocks


@_compiled
def silently_reached(count: Any, first: Any, labels: Any, targets: Any, most: Any) -> Any:
    """The states behind any silent steps, or none: where each state's begin, and the states.

    Silent steps must lead to smaller numbers. Stops beyond `most` and says so by a false flag.
    """
    begin, reach = np.zeros(count + 1, np.int64), np.empty(1 << 12, np.int32)
    seen = np.full(count, -1, np.int64)
    for state in range(count):
        size = begin[state]
        reach = roomy(reach, size + 1)
        reach[size], seen[state] = state, state
        size += 1
        for at in range(first[state], first[state + 1]):
            if labels[at] != 0:
                continue
            low, high = begin[targets[at]], begin[targets[at] + 1]
            reach = roomy(reach, size + high - low)
            for place in range(low, high):
                if seen[reach[place]] != state:
                    seen[reach[place]] = state
                    reach[size] = reach[place]
                    size += 1
        begin[state + 1] = size
        if size > most:
            return begin, reach, False
    return begin, reach, True


@_compiled
def saturate(
    count: Any, first: Any, labels: Any, targets: Any, begin: Any, reach: Any, most: Any
) -> Any:
    """The transitions with any silent steps before and behind them, and what is silently reached
    as silent transitions: where each state's begin, and `label << 32 | target`. Stops beyond
    `most` and says so by a false flag.
    """
    offsets, out = np.zeros(count + 1, np.int64), np.empty(1 << 12, np.uint64)
    items = np.empty(1 << 12, np.uint64)
    for state in range(count):
        size = 0
        for place in range(begin[state], begin[state + 1]):
            passed = reach[place]
            items = roomy(items, size + 1)
            items[size] = np.uint64(passed)
            size += 1
            for at in range(first[passed], first[passed + 1]):
                if labels[at] != 0:
                    low, high = begin[targets[at]], begin[targets[at] + 1]
                    items = roomy(items, size + high - low)
                    for further in range(low, high):
                        items[size] = (np.uint64(labels[at]) << HALF) | np.uint64(reach[further])
                        size += 1
            if size > most:
                return offsets, out, False
        size = sorted_once(items, size)
        out = roomy(out, offsets[state] + size)
        out[offsets[state] : offsets[state] + size] = items[:size]
        offsets[state + 1] = offsets[state] + size
        if offsets[state + 1] > most:
            return offsets, out, False
    return offsets, out, True
