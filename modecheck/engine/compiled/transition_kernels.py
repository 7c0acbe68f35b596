"""The inner loops of questions about single transitions, and about paths without cycles."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.compiled.kernels import U0
from modecheck.engine.compiled.language.annotations import Bools, I64s, U8s, U16s, U32s, U64s
from modecheck.engine.compiled.language.kernel import Kernel


@Kernel
def first_loss(
    first: I64s,
    targets: U32s,
    notes: U16s,
    expanded: int,
    marks: U64s,
    ends: np.uint64,
    barred: U8s,
) -> Any:
    """The first transition after which a bit of `ends` is gone, unless its note is barred:
    the state before it and the transition's number, or -1 twice.
    """
    for number in range(expanded):
        before = marks[number] & ends
        if before == U0:
            continue
        for edge in range(first[number], first[number + 1]):
            if before & ~marks[targets[edge]] and not barred[notes[edge]]:
                return number, edge
    return -1, -1


@Kernel
def first_change(
    first: I64s, targets: U32s, expanded: int, marks: U64s, before: np.uint64, after: np.uint64
) -> Any:
    """The first transition from a state with one mark to a state with the other, and its state."""
    for number in range(expanded):
        if marks[number] & before == U0:
            continue
        for edge in range(first[number], first[number + 1]):
            if marks[targets[edge]] & after != U0:
                return number, edge
    return -1, -1


@Kernel
def first_between(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    marks: U64s,
    inside: Bools,
    starts: np.uint64,
    wanted: U8s,
) -> Any:
    """The first transition with a note that is wanted, from a state inside; not between two starts.
    Its state and its number, or -1 twice.
    """
    for number in range(linked):
        if inside[number] == 0:
            continue
        for edge in range(first[number], first[number + 1]):
            stays = marks[number] & starts and marks[targets[edge]] & starts
            if wanted[notes[edge]] and not stays:
                return number, edge
    return -1, -1


@Kernel
def longest_path(  # noqa: C901 - two passes over the same transitions
    first: I64s,
    targets: U32s,
    notes: U16s,
    inside: Bools,
    by_system: U8s,
    stays: U8s,
    entering: I64s,
    longest: I64s,
    ready: U32s,
) -> Any:
    """The most steps of a path through states that are `inside`, the last perhaps to another one,
    by transitions whose note is one of `by_system`, and not in place: to the same state, by a note
    that `stays`; -1 when there is a cycle. All arrays of states but `inside` begin with zeros.
    """
    total, waiting = 0, 0
    best: Any = 0
    for number in range(first.size - 1):
        if inside[number]:
            total += 1
            for edge in range(first[number], first[number + 1]):
                away = np.int64(targets[edge]) != number or not stays[notes[edge]]
                if away and by_system[notes[edge]] and inside[targets[edge]]:
                    entering[targets[edge]] += 1
    for number in range(first.size - 1):
        if inside[number] and entering[number] == 0:
            ready[waiting] = np.uint32(number)
            waiting += 1
    done = 0
    while done < waiting:
        here = np.int64(ready[done])
        done += 1
        for edge in range(first[here], first[here + 1]):
            target = np.int64(targets[edge])
            if (target == here and stays[notes[edge]]) or not by_system[notes[edge]]:
                continue
            best = max(best, longest[here] + 1)
            if inside[target]:
                longest[target] = max(longest[target], longest[here] + 1)
                entering[target] -= 1
                if entering[target] == 0:
                    ready[waiting] = np.uint32(target)
                    waiting += 1
    return best if done == total else -1
