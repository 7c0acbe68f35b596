"""Sweeps over the transitions of some states: tasks, which read files of a store and of sets.

A set lies in a file as words, the first state in the lowest bit of the first one. What a task finds
it says as the words of a set that are not zero.
"""

from __future__ import annotations

import mmap
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.graph_kernels import mark_states
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.numbering import Numbers, numbering_of
from modecheck.engine.store.tasks import machine_of, opened
from modecheck.engine.store.transition_files import Columns, TransitionFile, opened_transitions
from modecheck.engine.store.transition_packing import (
    FAILING,
    REMEMBERED,
    PackedSteps,
    StepFilter,
    reach_blocks,
    settle_blocks,
)

WORD = 64
"""Bits of a word."""
NO_WORDS = np.empty(0, np.uint64)


@dataclass(frozen=True, slots=True)
class Part:
    """States that a task looks at: those of some levels and some ranges, `begin` to `end`, whose
    numbers are one after the other.
    """

    levels: tuple[int, int]
    ranges: tuple[int, int]
    begin: int
    end: int

    @property
    def words(self) -> tuple[int, int]:
        """The words of a set in which its states are: from one to before another one."""
        return self.begin // WORD, -(-self.end // WORD)


@dataclass(frozen=True, slots=True)
class Where:
    """The folder of a variant, the name of its ranges, and all kinds of its transitions, by a flag
    for each of which a sweep is told what to follow.
    """

    folder: str
    name: str
    kinds: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class FollowedKinds:
    """Which transitions a sweep follows: `kinds` has a flag for each kind; with `away` those alone
    that lead to another state; none that leads into one of the sets `gains` from outside. With
    `failing`, steps that fail count, as such in place.
    """

    kinds: bytes
    away: bool = False
    gains: tuple[str, ...] = ()
    failing: bool = False


@dataclass(frozen=True, slots=True)
class SomeWords:
    """Words of a set, by their places; all others are zero."""

    places: NDArray[np.int64]
    words: Words

    @classmethod
    def among(cls, words: Words, base: int) -> SomeWords:
        """Those of a set whose words begin with the one at a place."""
        places = np.flatnonzero(words)
        return cls(places + base, words[places])

    @classmethod
    def of(cls, numbers: Numbers) -> SomeWords:
        """Those of a set of states."""
        kept = np.unique(numbers).astype(np.int64)
        places, firsts = np.unique(kept // WORD, return_index=True)
        bits = np.uint64(1) << (kept % WORD).astype(np.uint64)
        return cls(places, np.bitwise_or.reduceat(bits, firsts) if firsts.size else bits)


@lru_cache(maxsize=256)
def _numbers_of_kinds(
    kinds: tuple[tuple[int, int], ...], own: tuple[tuple[int, int], ...]
) -> NDArray[np.int64]:
    """The numbers of some kinds among all."""
    numbers = {kind: number for number, kind in enumerate(kinds)}
    return np.array([numbers[kind] for kind in own], np.int64)


def words_of(path: str, *, private: bool = False) -> Words:
    """A set in a file, or one without words for no path. What is changed in one that is private
    stays in this process.
    """
    if not path:
        return NO_WORDS
    with open(path, "rb") as file:
        access = mmap.ACCESS_COPY if private else mmap.ACCESS_READ
        return np.frombuffer(mmap.mmap(file.fileno(), 0, access=access), np.uint64)


class _Sweep:
    """What a sweep reads of the transitions of a part. Those are followed that lead into the set
    `into` if it has words.
    """

    def __init__(
        self, where: Where, part: Part, following: FollowedKinds, into: Words = NO_WORDS
    ) -> None:
        self._where, self._part, self._following = where, part, following
        self._numbering = numbering_of(where.folder, where.name)
        self._into = into
        # Kernels are told their addresses, so they must stay there.
        self._kept = [words_of(path) for path in following.gains]
        self._gains = np.array([words.ctypes.data for words in self._kept], np.uint64)

    @property
    def ranges(self) -> range:
        """The ranges of the part."""
        return range(*self._part.ranges)

    def file(self, own: int) -> TransitionFile:
        """The transitions of a range."""
        return opened_transitions(self._numbering.ranges.path(self._where.folder, "steps", own))

    def blocks(self, own: int, levels: tuple[int, int]) -> PackedSteps:
        """The blocks of a range in some levels."""
        return self.file(own).blocks(levels, self._numbering.begins[own, slice(*levels)])

    def columns(self, wanted: Words) -> Iterator[tuple[int, Columns]]:
        """The transitions that are followed, of states that are in a set if it has words, range by
        range.
        """
        for own in self.ranges:
            blocks, steps = self.blocks(own, self._part.levels), self.steps(own)
            for columns in self.file(own).followed(blocks, wanted, steps):
                yield own, columns

    def kinds_of(self, own: int) -> NDArray[np.int64]:
        """The number of each kind of a range among all."""
        return _numbers_of_kinds(self._where.kinds, self.file(own).about.kinds)

    def steps(self, own: int) -> StepFilter:
        """Which of the transitions of a range are followed."""
        allowed = np.zeros(int(FAILING) + 1, np.uint8)
        numbers = self.kinds_of(own)
        allowed[: numbers.size] = np.frombuffer(self._following.kinds, np.uint8)[numbers]
        allowed[int(FAILING)] = self._following.failing
        return StepFilter(allowed, np.uint64(self._following.away), self._into, self._gains)

    def settled(self, wanted: Words, barred: Words, *, adds: bool) -> SomeWords:
        """Settle the set that transitions lead into (see `settle_blocks`), as long as that changes
        it: what is changed of it.
        """
        begin, end = self._part.words
        before = self._into[begin:end].copy()
        while self._settle(wanted, barred, self._into, 0, adds=adds):
            pass
        return SomeWords.among(self._into[begin:end] ^ before, begin)

    def sources(self, wanted: Words) -> SomeWords:
        """The states, of a set if it has words, with a transition that is followed."""
        begin, end = self._part.words
        own = np.zeros(end - begin, np.uint64)
        self._settle(wanted, NO_WORDS, own, begin, adds=True)
        return SomeWords.among(own, begin)

    def targets(self, wanted: Words) -> SomeWords:
        """The states behind transitions of a set that are followed."""
        own, last = np.zeros(-(-self._numbering.first_of[-1] // WORD), np.uint64), _remembered()
        for number in self.ranges:
            blocks = self.blocks(number, self._part.levels)
            reach_blocks(blocks, wanted, self.steps(number), own, last)
        return SomeWords.among(own, 0)

    def _settle(self, wanted: Words, barred: Words, own: Words, base: int, *, adds: bool) -> bool:
        """Settle a set once; whether that changed it."""
        steps, last = {number: self.steps(number) for number in self.ranges}, _remembered()
        changed = 0
        for levels, number in product(self._together(), self.ranges):
            changed += settle_blocks(
                self.blocks(number, levels), wanted, barred, steps[number], own, base, adds, last
            )
        return changed > 0

    def _together(self) -> list[tuple[int, int]]:
        """Levels that are looked at together, from the last on: all if there is one range. Of
        several, ranges lead from level to level to each other.
        """
        if len(self.ranges) == 1:
            return [self._part.levels]
        return [(level, level + 1) for level in reversed(range(*self._part.levels))]


def _remembered() -> NDArray[np.int64]:
    return np.empty(REMEMBERED, np.int64)


def sources_in(where: Where, part: Part, following: FollowedKinds, of: str, into: str) -> SomeWords:
    """The states, of a set if one is given, with a followed transition, into a set if one is
    given.
    """
    return _Sweep(where, part, following, words_of(into)).sources(words_of(of))


def targets_of(where: Where, part: Part, following: FollowedKinds, of: str) -> SomeWords:
    """The states behind followed transitions of a set."""
    return _Sweep(where, part, following).targets(words_of(of))


def widened(
    where: Where, part: Part, following: FollowedKinds, into: str, inside: str
) -> SomeWords:
    """The states that are not in a set, but in another one if one is given, from which a path of
    followed transitions of such states leads into it.
    """
    goal = words_of(into, private=True)
    return _Sweep(where, part, following, goal).settled(words_of(inside), goal, adds=True)


def trimmed(where: Where, part: Part, following: FollowedKinds, of: str) -> SomeWords:
    """The states of a set from which no path of followed transitions goes on inside for ever, as
    far as that depends on these states alone.
    """
    own = words_of(of, private=True)
    return _Sweep(where, part, following, own).settled(own, NO_WORDS, adds=False)


def numbers_in(words: Words, base: int) -> Numbers:
    """The states of some words, from the one at place `base` on."""
    bits = np.unpackbits(words.view(np.uint8), bitorder="little")
    return (np.flatnonzero(bits) + base * WORD).astype(np.uint32)


def source_to(where: Where, part: Part, number: int, bounds: tuple[int, int]) -> int:
    """The first state within some bounds with a transition to a state, or -1."""
    sweep = _Sweep(where, part, FollowedKinds(b"\1" * len(where.kinds)))
    found = -1
    for _, (sources, _, targets) in sweep.columns(NO_WORDS):
        own = sources[targets == number]
        inside = own[(own >= bounds[0]) & (own < bounds[1])]
        if inside.size and not 0 <= found < inside[0]:
            found = int(inside[0])
    return found


def transitions_in(where: Where, part: Part, of: str, most: int) -> Columns | None:
    """All transitions of the states of a set, with the numbers of their kinds; None if there are
    more than `most`.
    """
    sweep = _Sweep(where, part, FollowedKinds(b"\1" * len(where.kinds)))
    total = 0
    found: list[Columns] = []
    for own, (sources, kinds, targets) in sweep.columns(words_of(of)):
        total += sources.size
        if total > most:
            return None
        numbers = sweep.kinds_of(own).astype(np.uint16)
        found.append((sources.copy(), numbers[kinds], targets.copy()))
    columns = columns_together(found)
    order = np.argsort(columns[0], kind="stable")
    sources, kinds, targets = (column[order] for column in columns)
    return sources, kinds, targets


def columns_together(parts: list[Columns]) -> Columns:
    """The transitions of several parts, one behind the other."""
    empty: Columns = np.empty(0, np.uint32), np.empty(0, np.uint16), np.empty(0, np.uint32)
    sources, kinds, targets = (np.concatenate(column) for column in zip(empty, *parts, strict=True))
    return sources, kinds, targets


Truths = NDArray[np.bool_]


def _selected(where: Where, part: Part, told: Callable[[Words], NDArray[np.uint64]]) -> Words:
    """A word of each state, told by the words of some states."""
    numbering = numbering_of(where.folder, where.name)
    found = np.empty(part.end - part.begin, np.uint64)
    for own in range(*part.ranges):
        words = told(
            opened(numbering.ranges.path(where.folder, "ordered", own)).levels(*part.levels)
        )
        counts = numbering.counts[own, slice(*part.levels)]
        shifts = numbering.begins[own, slice(*part.levels)] - np.cumsum(counts) + counts
        found[np.arange(words.size) + np.repeat(shifts, counts) - part.begin] = words
    return found


def _packed(truths: Truths, begin: int) -> Words:
    """Truths of states, from the one with the number `begin` on, as words."""
    shift = begin % WORD
    padded = np.zeros(-(-(shift + truths.size) // WORD) * WORD, np.bool_)
    padded[shift : shift + truths.size] = truths
    return np.packbits(padded, bitorder="little").view(np.uint64)


def marked(where: Where, part: Part, conditions: int) -> list[Words]:
    """For each condition the words of the set of states in which it holds, from that of the first
    state of a part on.
    """
    machine = machine_of(where.folder)
    width = machine.layout.words

    def told(rows: Words) -> Words:
        marks = np.empty(rows.size // width, np.uint64)
        mark_states(machine.marks, rows, width, marks.size, marks)
        return marks

    marks = _selected(where, part, told)
    bits = (np.uint64(1) << np.uint64(bit) for bit in range(conditions))
    return [_packed((marks & bit) != 0, part.begin) for bit in bits]


def valued(where: Where, part: Part, field: int, values: tuple[int, ...]) -> Words:
    """The same for the states in which a field has one of some values."""
    machine = machine_of(where.folder)
    place, width = machine.layout.places[field], machine.layout.words
    stored = np.array([value - place.low for value in values], np.int64).astype(np.uint64)

    def told(rows: Words) -> Words:
        return rows[place.word :: width] >> np.uint64(place.shift) & np.uint64(place.mask)

    return _packed(np.isin(_selected(where, part, told), stored), part.begin)


def written(path: Path, words: Words, begin: int, end: int) -> None:
    """Write the words of a set from `begin` to `end` into its file, which is as long as all of them
    are.
    """
    with open(path, "r+b" if path.exists() else "w+b") as file:
        file.truncate(words.nbytes)
        file.seek(8 * begin)
        file.write(words[begin:end].tobytes())
