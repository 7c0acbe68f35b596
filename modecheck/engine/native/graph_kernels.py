"""Loops that call a product's code for one state after the other."""

from __future__ import annotations

from typing import Any

import numpy as np

from modecheck.engine.language.annotations import U8s, U32s, U64s
from modecheck.engine.language.intrinsics import (
    call_marks,
    call_successors,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.frame import DRIVEN
from modecheck.engine.native.native_numbers import COUNT_MASK, FAILED_BIT, U8

DRIVEN_BIT = np.uint64(DRIVEN)


@Kernel
def mark_states(address: int, states: U64s, words: int, count: int, marks: U64s) -> None:
    """The conditions that hold in each state, as bits."""
    base = np.uint64(states.ctypes.data)
    for number in range(count):
        marks[number] = call_marks(address, base + np.uint64(number * words) * U8)


@Kernel
def flag_states(
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    records: U64s,
    quiescent: U8s,
    failing: U8s,
) -> None:
    """Only which states are quiet and which have a failing step, where transitions do not fit."""
    width = words + 2
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for position in range(begin, end):
        result = call_successors(address, base + np.uint64(position * words) * U8, target, seen_at)
        quiescent[position] = 0 if result & DRIVEN_BIT else 1
        for number in range(np.int64(result & COUNT_MASK)):
            if records[number * width + words] & FAILED_BIT:
                failing[position] = 1


@Kernel
def flag_values(words: U64s, width: int, shift: int, mask: int, flags: U8s) -> None:
    """Flag what stands in some bits of every word that is `width` behind the one before."""
    shift_, mask_ = np.uint64(shift), np.uint64(mask)
    at = np.int64(0)
    while at < words.size:
        flags[(words[at] >> shift_) & mask_] = 1
        at += width


@Kernel
def find_before(
    address: int,
    seen: U8s,
    states: U64s,
    words: int,
    begin: int,
    end: int,
    goal: int,
    records: U64s,
) -> Any:
    """The first state from `begin` on that has a step to the state number `goal`, or -1."""
    width = words + 2
    base, target = np.uint64(states.ctypes.data), np.uint64(records.ctypes.data)
    seen_at = np.uint64(seen.ctypes.data)
    for position in range(begin, end):
        result = call_successors(address, base + np.uint64(position * words) * U8, target, seen_at)
        for number in range(np.int64(result & COUNT_MASK)):
            at = number * width
            if records[at + words] & FAILED_BIT:
                continue
            same = True
            for offset in range(words):
                if records[at + offset] != states[goal * words + offset]:
                    same = False
                    break
            if same:
                return position
    return -1


@Kernel
def find_target(targets: U32s, begin: int, end: int, target: np.uint32) -> Any:
    """The first of some transitions that leads to a state, or -1."""
    for edge in range(begin, end):
        if targets[edge] == target:
            return edge
    return -1
