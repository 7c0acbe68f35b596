"""Transitions, packed and unpacked: whatever their numbers are, the same come back."""

from __future__ import annotations

import numpy as np
import pytest

from modecheck.engine.store.transition_packing import (
    FAILING,
    LONGEST,
    REMEMBERED,
    STATES_TOGETHER,
    PackedSteps,
    StepFilter,
    pack_states,
    reach_blocks,
    settle_blocks,
    unpack_followed,
)

NOBODY = np.empty(0, np.uint64)
EVERY = StepFilter(np.ones(1 << 16, np.uint8), np.uint64(0), NOBODY, NOBODY)


@pytest.mark.parametrize("most", [1 << 4, (1 << 16) - 1])
@pytest.mark.parametrize("far", [10, (1 << 32) - 1])
def test_they_come_back(most: int, far: int) -> None:
    """In several blocks, with kinds and targets near each other and as far as can be, some at a
    time; and where they lead.
    """
    dice = np.random.default_rng(most + far)
    counts = dice.integers(0, 4, 2 * STATES_TOGETHER + 5)
    begins = np.concatenate([np.zeros(1, np.int64), np.cumsum(counts)])
    kinds = dice.integers(0, most, begins[-1]).astype(np.uint16)
    targets = dice.integers(0, far, begins[-1], endpoint=True).astype(np.uint32)
    failing = dice.integers(0, 2, counts.size).astype(np.uint8)
    packed = np.empty(LONGEST * int(begins[-1] + counts.size), np.uint8)
    offsets, last = np.empty(3, np.int64), np.empty(REMEMBERED, np.int64)
    pack_states(begins, failing, kinds, targets, last, packed, offsets, 0)
    firsts = 7 + STATES_TOGETHER * np.arange(3)
    ends = np.minimum(firsts + STATES_TOGETHER, 7 + counts.size)
    blocks = PackedSteps(packed, offsets, firsts, ends)
    rooms = np.empty(1_000, np.uint32), np.empty(1_000, np.uint16), np.empty(1_000, np.uint32)
    block, found = 0, []
    while block < 3:
        block, filled = unpack_followed(blocks, block, NOBODY, EVERY, 1_000, last, *rooms)
        found.append([room[:filled].copy() for room in rooms])
    sources, own_kinds, own_targets = map(np.concatenate, zip(*found, strict=True))
    assert (sources == 7 + np.repeat(np.arange(counts.size), counts)).all()
    assert (own_kinds == kinds).all()
    assert (own_targets == targets).all()
    own = np.zeros(-(-(7 + counts.size) // 64), np.uint64)
    steps = StepFilter(np.zeros(1 << 16, np.uint8), np.uint64(0), NOBODY, NOBODY)
    steps.allowed[int(FAILING)] = 1
    assert settle_blocks(blocks, NOBODY, NOBODY, steps, own, 0, True, last) == failing.sum()
    bits = np.unpackbits(own.view(np.uint8), bitorder="little")
    assert (bits[7 : 7 + counts.size] == failing).all()
    if far < 64:
        reached = np.zeros(1, np.uint64)
        reach_blocks(blocks, NOBODY, EVERY, reached, last)
        assert int(reached[0]) == sum(1 << number for number in set(targets.tolist()))
