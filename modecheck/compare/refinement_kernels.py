"""The inner loops of partition refinement. What they compute, and why, is told in `refinement`.

Transitions are grouped by state: those of state `s` are `first[s]` to `first[s + 1] - 1`. A heap is
an array whose smallest item stands in front (Williams 1964, from memory).

Kernels allocate nothing. Where an array turns out too short, a kernel undoes what it had begun and
returns; its caller makes the array longer (`growing.py`) and calls it again.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from modecheck.compare.signature_kernels import (
    HALF,
    NO_ROOM,
    Signatures,
    remember,
    sort,
    sorted_once,
)
from modecheck.engine.language.annotations import I32s, I64s, U8s, U64s
from modecheck.engine.language.kernel import Kernel

LOW = np.uint64(0xFFFFFFFF)


class Grouped(NamedTuple):
    """Transitions by state."""

    first: I64s
    labels: I32s
    others: I32s


class Partition(NamedTuple):
    """The block of each state; the states by block, those that have changed in front, and where
    each stands there; the bounds of each block, how many have changed, and its signature.
    """

    block: I32s
    members: I32s
    position: I32s
    begin: I64s
    end: I64s
    changed: I64s
    signatures: I64s


class Work(NamedTuple):
    """States that wait for their signature, and which do; the last signature of each and the sweep
    in which it was made; blocks that were touched, states that moved, and room to sort.
    """

    heap: I32s
    queued: U8s
    now: I64s
    judged: I64s
    touched: I32s
    moved: I32s
    scratch: U64s


WAITING, SWEEP, TOUCHES, BLOCKS, KNOWN, GOES_ON = range(6)
"""Places of the numbers with which a refinement that was left goes on."""
COUNTERS = 6


@Kernel
def push(heap: I32s, size: int, item: np.int32) -> None:
    """Adds an item to a heap of so many."""
    at = size
    while at > 0 and heap[(at - 1) >> 1] > item:
        heap[at] = heap[(at - 1) >> 1]
        at = (at - 1) >> 1
    heap[at] = item


@Kernel
def pop(heap: I32s, size: int) -> Any:
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


@Kernel
def largest_part(scratch: U64s, count: int, others: int) -> Any:
    """Where the largest part of the sorted changed members begins, or -1 if the others are more."""
    largest, keeps, start = others, -1, 0
    for place in range(1, count + 1):
        if place == count or scratch[place] >> HALF != scratch[start] >> HALF:
            if place - start > largest:
                largest, keeps = place - start, start
            start = place
    return keeps


@Kernel
def rename(parts: Partition, begin: int, end: int, name: int, moved: I32s, moves: int) -> Any:
    """Gives some members a new block, and notes that they moved; returns how many moved so far."""
    for at in range(begin, end):
        member = parts.members[at]
        parts.block[member] = name
        moved[moves] = member
        moves += 1
    return moves


@Kernel
def split(parts: Partition, work: Work, blocks: int, number: np.int32, moves: int) -> Any:
    """Splits a block whose first `changed` members have new signatures. The largest part keeps the
    number; members of the others are added to those that moved. Returns how many blocks there are,
    and how many moved.
    """
    low, high, count = parts.begin[number], parts.end[number], parts.changed[number]
    scratch = work.scratch
    parts.changed[number] = 0
    for place in range(count):
        state = parts.members[low + place]
        scratch[place] = (np.uint64(work.now[state]) << HALF) | np.uint64(state)
    sort(scratch, count)
    for place in range(count):
        member = np.int64(scratch[place] & LOW)
        parts.members[low + place] = member
        parts.position[member] = low + place
    keeps = largest_part(scratch, count, high - low - count)
    # The largest part keeps the number, so that a state is renamed at most log2(n) times.
    if keeps >= 0 and low + count < high:
        parts.begin[blocks], parts.end[blocks] = low + count, high
        parts.signatures[blocks] = parts.signatures[number]
        moves = rename(parts, low + count, high, blocks, work.moved, moves)
        blocks += 1
    if keeps < 0:
        parts.begin[number] = low + count
    start = 0
    for place in range(1, count + 1):
        if place < count and scratch[place] >> HALF == scratch[start] >> HALF:
            continue
        own = number if start == keeps else blocks
        parts.begin[own], parts.end[own] = low + start, low + place
        parts.signatures[own] = np.int64(scratch[start] >> HALF)
        if start != keeps:
            moves = rename(parts, low + start, low + place, blocks, work.moved, moves)
            blocks += 1
        start = place
    return blocks, moves


@Kernel
def list_signature(
    state: np.int32,
    steps: Grouped,
    inert: bool,
    parts: Partition,
    work: Work,
    sweep: int,
    known: Signatures,
) -> Any:
    """Makes the signature of a state; its length, or `NO_ROOM`."""
    items, pool, starts = known.items, known.pool, known.starts
    own, size = parts.block[state], 0
    for at in range(steps.first[state], steps.first[state + 1]):
        target = steps.others[at]
        if inert and steps.labels[at] == 0 and parts.block[target] == own:
            behind = parts.signatures[own]
            if work.judged[target] == sweep:
                behind = work.now[target]
            begin, end = starts[behind], starts[behind + 1]
            if size + end - begin > items.size:
                return NO_ROOM
            for number in range(begin, end):
                items[size] = pool[number]
                size += 1
        else:
            if size == items.size:
                return NO_ROOM
            items[size] = (np.uint64(steps.labels[at]) << HALF) | np.uint64(parts.block[target])
            size += 1
    return sorted_once(items, size)


@Kernel
def ask(state: np.int32, ordered: bool, work: Work, waiting: int) -> Any:
    """Puts a state into the heap unless it is there; returns how many are. Where their order does
    not matter, it is a plain stack.
    """
    if work.queued[state] == 0:
        work.queued[state] = 1
        if ordered:
            push(work.heap, waiting, state)
        else:
            work.heap[waiting] = state
        waiting += 1
    return waiting


@Kernel
def ask_before(state: np.int32, back: Grouped, block: I32s, work: Work, waiting: int) -> Any:
    """Asks for the states from which an inert step leads to a state."""
    for at in range(back.first[state], back.first[state + 1]):
        if back.labels[at] == 0 and block[back.others[at]] == block[state]:
            waiting = ask(back.others[at], True, work, waiting)
    return waiting


@Kernel
def to_front(parts: Partition, state: np.int32, front: int) -> None:
    """Exchanges a state with the one that stands at a place."""
    place, other = parts.position[state], parts.members[front]
    parts.members[front], parts.members[place] = state, other
    parts.position[state], parts.position[other] = front, place


@Kernel
def refine(  # noqa: C901 - one fixpoint, which may be left in its middle
    steps: Grouped,
    back: Grouped,
    inert: bool,
    parts: Partition,
    work: Work,
    known: Signatures,
    counters: I64s,
) -> Any:
    """Refines a partition until it is stable; False where there was no room, to be called again.

    With `inert`, silent steps within a block are passed over, and silent steps must lead to smaller
    numbers. Without, label 0 is a label like any other.
    """
    waiting, sweep, touches = counters[WAITING], counters[SWEEP], counters[TOUCHES]
    blocks, count, goes_on = counters[BLOCKS], counters[KNOWN], counters[GOES_ON] != 0
    while waiting or goes_on:
        if not goes_on:
            sweep += 1
            touches = 0
        goes_on = False
        # Within a sweep nobody changes blocks, so signatures of one sweep can be compared.
        while waiting:
            state = pop(work.heap, waiting) if inert else work.heap[waiting - 1]
            waiting -= 1
            work.queued[state] = 0
            size = list_signature(state, steps, inert, parts, work, sweep, known)
            signature = NO_ROOM if size < 0 else remember(known, size, count)
            if signature < 0:
                counters[WAITING], counters[SWEEP] = ask(state, inert, work, waiting), sweep
                counters[TOUCHES], counters[BLOCKS] = touches, blocks
                counters[KNOWN], counters[GOES_ON] = count, 1
                return False
            count = max(count, signature + 1)
            work.judged[state], work.now[state] = sweep, signature
            own = parts.block[state]
            if signature == parts.signatures[own]:
                continue
            # Members with a new signature gather in front of their block, which is split after the
            # sweep.
            if parts.changed[own] == 0:
                work.touched[touches] = own
                touches += 1
            to_front(parts, state, parts.begin[own] + parts.changed[own])
            parts.changed[own] += 1
            if inert:
                waiting = ask_before(state, back, parts.block, work, waiting)
        moves = 0
        for number in range(touches):
            blocks, moves = split(parts, work, blocks, work.touched[number], moves)
        # Only states with a step into a block that changed its number can have another signature
        # now.
        for number in range(moves):
            member = work.moved[number]
            waiting = ask(member, inert, work, waiting)
            for at in range(back.first[member], back.first[member + 1]):
                waiting = ask(back.others[at], inert, work, waiting)
    counters[BLOCKS] = blocks
    return True


@Kernel
def silently_reached(
    steps: Grouped, begin: I64s, seen: I64s, reach: I32s, state: int, most: int
) -> Any:
    """The states behind any silent steps, of each state from `state` on: where its own begin, and
    the states. Silent steps must lead to smaller numbers. Returns the first state that was left
    out, because there was no room or because there are more than `most`; `seen` is then as it was.
    """
    for number in range(state, begin.size - 1):
        size = begin[number]
        if size == reach.size or size > most:
            return number
        reach[size], seen[number] = number, number
        size += 1
        for at in range(steps.first[number], steps.first[number + 1]):
            if steps.labels[at] != 0:
                continue
            low, high = begin[steps.others[at]], begin[steps.others[at] + 1]
            if size + high - low > reach.size:
                for place in range(begin[number], size):
                    seen[reach[place]] = -1
                return number
            for place in range(low, high):
                if seen[reach[place]] != number:
                    seen[reach[place]] = number
                    reach[size] = reach[place]
                    size += 1
        begin[number + 1] = size
    return begin.size - 1


@Kernel
def saturate(
    steps: Grouped, begin: I64s, reach: I32s, offsets: I64s, out: U64s, state: int, most: int
) -> Any:
    """The transitions with any silent steps before and behind them, and what is silently reached
    as silent transitions, of each state from `state` on: where its own begin, and
    `label << 32 | target`. Returns the first state that was left out, because there was no room or
    because there are more than `most`.
    """
    for number in range(state, begin.size - 1):
        first = offsets[number]
        if first > most:
            return number
        items = out[first:]
        size = 0
        for place in range(begin[number], begin[number + 1]):
            passed = reach[place]
            if size == items.size:
                return number
            items[size] = np.uint64(passed)
            size += 1
            for at in range(steps.first[passed], steps.first[passed + 1]):
                if steps.labels[at] == 0:
                    continue
                low, high = begin[steps.others[at]], begin[steps.others[at] + 1]
                if size + high - low > items.size:
                    return number
                for further in range(low, high):
                    label = np.uint64(steps.labels[at]) << HALF
                    items[size] = label | np.uint64(reach[further])
                    size += 1
        offsets[number + 1] = first + sorted_once(items, size)
    return begin.size - 1
