"""The table of all states found, which all threads fill together.

It has as many segments as there are threads. A state belongs in the segment that the lower half of
its hash names, so that segments fill evenly; each is grown by one thread, all at the same time.
Nothing is ever taken out, and slots are filled in order: to enter a state is to change a slot from
empty to full in one indivisible step, and who comes second looks again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from modecheck.engine.native.growing_arrays import Reserved
from modecheck.engine.native.table_kernels import CACHE_LINE, RECENT, SPARE, grow, hash_of, refill
from modecheck.product.bit_packing import WordLayout

FIRST_LINES = 1 << 13
"""Lines of a new segment: it fits the cache, and is grown long before it matters."""
FULLEST = 0.7
"""Share of slots in use at which a table grows: few probes need a second line, which has not been
asked for ahead of time. At 0.8 so many do that a transition costs half as much again."""
DENSEST = 0.88
"""The same where there is no memory to grow as that asks for. With as little memory as would do,
states packed, too, tandem with many faults took 5 to 20 % longer.
"""
GROWTH = 1.15, 2.0
"""How much a table grows at the least and at the most: by what is expected to be found yet."""
MARGIN = 1.1
"""How many times as many states as are expected there should be room for."""
LARGEST_SEGMENT = (1 << 32) - SPARE - 1
"""Lines; what a 32-bit half of the hash can tell apart."""
HALF = 32
"""Bits of half a word."""
ASIDE = 1 << 15
"""Slots at the beginning of a segment that are set aside while it grows."""


class StateTable:
    """Segments of `lines` lines each, `distance` lines apart, with `address_space` for states."""

    def __init__(self, layout: WordLayout, segments: int, *, address_space: int) -> None:
        kind = stored_kind(layout)
        self.width = layout.words
        self.segments = segments
        self.lines = FIRST_LINES
        self.fullest = FULLEST
        self.line = CACHE_LINE // kind.itemsize
        most = int(address_space / segments / self.line / FULLEST * GROWTH[1]) + FIRST_LINES
        self.distance = min(most, LARGEST_SEGMENT) + SPARE
        self.words = Reserved(self.distance * segments * self.line, kind, huge_pages=True).array

    @property
    def capacity(self) -> int:
        """States at which it has to grow."""
        return int(self.slots * self.fullest)

    @property
    def slots(self) -> int:
        return self.lines * self.segments * self.line

    @property
    def bytes(self) -> int:
        return self.lines * self.segments * CACHE_LINE

    @property
    def thread_bits(self) -> int:
        """Bits of a state's number that tell which thread has found it."""
        return (self.segments - 1).bit_length()

    def next_lines(self, lines: int, growth: float) -> int:
        """Lines of a segment that is one step larger."""
        return min(int(lines * growth), LARGEST_SEGMENT, self.distance - SPARE)

    def growths(self, layers: Sequence[int]) -> tuple[float, float]:
        """By how much it should grow after levels of so many states, and by how much at the least.

        As long as levels grow there will be twice as many states. Later they are expected to shrink
        as they have grown, or from level to level as the last one did, whichever is faster.
        """
        least, most = GROWTH
        *_, before, last = 0, *layers
        if last >= before:
            return most, least
        mirrored = sum(size for size in layers if size < last)
        expected = sum(layers) + min(mirrored, last * last / (before - last))
        return min(max(expected * MARGIN / self.capacity, least), most), least

    def grow(self, segment: int, old: int, found: list[Iterator[Any]]) -> None:
        """Spread a segment that had `old` lines over the lines there are now; fill it anew with the
        states that the threads have found, if it cannot grow in place.
        """
        begin = segment * self.distance * self.line
        part = self.words[begin : begin + self.distance * self.line]
        sizes = (self.line, self.line, RECENT, RECENT)
        room = tuple(np.empty(count, np.uint64) for count in sizes)
        aside = np.empty(ASIDE, np.uint64)
        if not grow(part, old, self.lines, self.width, aside, room):
            return
        part[: (self.lines + SPARE) * self.line] = 0
        for thread, levels in enumerate(found):
            first = 0
            for states in levels:
                refill(
                    part,
                    self.lines,
                    self.width,
                    states,
                    first,
                    segment,
                    self.segments,
                    thread,
                    self.thread_bits,
                )
                first += states.size // self.width

    def enter_first(self, states: Any, count: int) -> None:
        """Put the states that thread 0 begins with into the empty table."""
        for segment in range(self.segments if count > 1 else 0):
            part = self.words[segment * self.distance * self.line :]
            refill(
                part, self.lines, self.width, states[: count * self.width], 0, segment,
                self.segments, 0, self.thread_bits,
            )  # fmt: skip
        if count > 1:
            return
        hash_ = int(hash_of(states, 0, self.width))
        segment = (hash_ & 0xFFFFFFFF) * self.segments >> 32
        home = segment * self.distance + ((hash_ >> 32) * self.lines >> 32)
        stored = int(states[0]) + 1 if self.width == 1 else (hash_ >> 32 << 32) + 1
        self.words[home * self.line] = stored

    def give_back(self) -> None:
        """Free the memory; nothing can be entered any more."""
        self.words = self.words[:0].copy()


def stored_kind(layout: WordLayout) -> np.dtype[Any]:
    """As what states are kept: a word of which at most 31 bits are used, and so is one more, takes
    half a word.
    """
    bits = max((place.shift + place.bits for place in layout.places), default=0)
    return np.dtype(np.uint32 if layout.words == 1 and bits < HALF else np.uint64)
