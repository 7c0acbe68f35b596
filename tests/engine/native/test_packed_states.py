"""States packed by their differences: what is unpacked is what was packed."""

from __future__ import annotations

from itertools import accumulate, pairwise

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from modecheck.engine.native.growing_arrays import PIECE, Reserved
from modecheck.engine.native.packed_states import LONGEST, pack_words, packed_levels

LEVELS = st.lists(st.lists(st.integers(0, 2**64 - 1), max_size=6), min_size=1, max_size=4)


@given(LEVELS)
@example([[2**64 - 1, 0], [2**63], [], [127, 128, 255]])
def test_levels_are_sorted_and_come_back(levels: list[list[int]]) -> None:
    """Each level by itself, also where the next one begins with less."""
    states = np.array([word for level in levels for word in level], np.uint64)
    ends = list(accumulate(len(level) for level in levels))
    words = packed_levels(states.copy(), ends).words().tolist()
    assert [words[begin:end] for begin, end in pairwise([0, *ends])] == [*map(sorted, levels)]


@given(st.lists(st.integers(0, 2**64 - 1), max_size=6))
def test_differences_are_in_groups_of_seven_bits(numbers: list[int]) -> None:
    """As numbers are written that take as many bytes as they need, lowest group first: LEB128 of
    the DWARF 5 standard, section 7.6.
    """
    words = np.array(sorted(numbers), np.uint64)
    room = np.zeros(LONGEST * words.size, np.uint8)
    expected = []
    for before, after in pairwise([0, *sorted(numbers)]):
        rest = after - before
        while rest > 127:
            expected.append(rest % 128 + 128)
            rest //= 128
        expected.append(rest)
    assert room[: int(pack_words(words, room))].tolist() == expected


def test_bytes_in_a_row_are_given_back() -> None:
    """Whole pieces; what comes behind stays as it is."""
    memory = Reserved(4 * PIECE // 8)
    memory.words[:] = 7
    memory.free(0, 2 * PIECE + 800)
    assert (memory.words[2 * PIECE // 8 :] == 7).all()
    memory.free(2 * PIECE + 800, 4 * PIECE - 8)
    assert (memory.words[3 * PIECE // 8 :] == 7).all()
