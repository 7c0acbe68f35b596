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
from modecheck.engine.store.numbering import Numbering, Numbers, numbering_of
from modecheck.engine.store.tasks import machine_of, opened
from modecheck.engine.store.transition_files import Columns, TransitionFile, opened_transitions
from modecheck.engine.store.transition_packing import (
    FAILING,
    drop_gaining,
    keep_followed,
    put_new,
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
    def of(cls, numbers: Numbers) -> SomeWords:
        """Those of a set of states."""
        kept = np.unique(numbers).astype(np.int64)
        bits = np.uint64(1) << (kept % WORD).astype(np.uint64)
        return cls.joined(kept // WORD, bits)

    @classmethod
    def joined(cls, places: NDArray[np.int64], words: Words) -> SomeWords:
        """Words of which several may have the same place; these are sorted."""
        firsts = np.flatnonzero(np.diff(places, prepend=-1))
        if not firsts.size:
            return cls(places, words)
        return cls(places[firsts], np.bitwise_or.reduceat(words, firsts))


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
    """What a sweep reads of the transitions of a part."""

    def __init__(self, where: Where, part: Part, following: FollowedKinds) -> None:
        self._where, self._part, self._following = where, part, following
        self.numbering: Numbering = numbering_of(where.folder, where.name)
        self._gains = [words_of(path) for path in following.gains]

    def sections(self, *, back: bool = False) -> Iterator[tuple[int, int, int, int]]:
        """Each level of each range, with the numbers of its first state and behind its last one;
        with `back` from the last level on.
        """
        levels = range(*self._part.levels)
        for level, own in product(levels[::-1] if back else levels, range(*self._part.ranges)):
            count = int(self.numbering.counts[own, level])
            begin = int(self.numbering.begins[own, level])
            if count:
                yield level, own, begin, begin + count

    def columns(
        self, section: tuple[int, int, int, int], wanted: Words, barred: Words, into: Words
    ) -> Iterator[Columns]:
        """The transitions that are followed, of states that are wanted, and lead into a set if it
        has words.
        """
        level, own, begin, _ = section
        file = self.file(own)
        allowed = self._allowed(file)
        for sources, kinds, targets in file.unpacked(level, begin, wanted, barred):
            count = keep_followed(
                sources, kinds, targets, sources.size, allowed, self._following.away, into
            )
            for gained in self._gains:
                count = drop_gaining(sources, kinds, targets, count, gained)
            if count:
                yield sources[:count], kinds[:count], targets[:count]

    def file(self, own: int) -> TransitionFile:
        """The transitions of a range."""
        return opened_transitions(self.numbering.ranges.path(self._where.folder, "steps", own))

    def kinds_of(self, file: TransitionFile) -> NDArray[np.int64]:
        """The number of each kind of a file among all."""
        return _numbers_of_kinds(self._where.kinds, file.about.kinds)

    def _allowed(self, file: TransitionFile) -> NDArray[np.uint8]:
        allowed = np.zeros(int(FAILING) + 1, np.uint8)
        every = np.frombuffer(self._following.kinds, np.uint8)
        numbers = self.kinds_of(file)
        allowed[: numbers.size] = every[numbers]
        allowed[int(FAILING)] = self._following.failing
        return allowed


def _distinct(numbers: Numbers) -> Numbers:
    """Numbers in order, each once."""
    return numbers[np.flatnonzero(np.diff(numbers.astype(np.int64), prepend=-1))]


def _together(parts: list[Numbers]) -> Numbers:
    return np.concatenate(parts) if parts else np.empty(0, np.uint32)


def sources_in(where: Where, part: Part, following: FollowedKinds, of: str, into: str) -> SomeWords:
    """The states, of a set if one is given, with a followed transition, into a set if one is
    given.
    """
    sweep, own, goal = _Sweep(where, part, following), words_of(of), words_of(into)
    found = [
        _distinct(sources)
        for section in sweep.sections()
        for sources, _, _ in sweep.columns(section, own, NO_WORDS, goal)
    ]
    return SomeWords.of(_together(found))


def targets_of(where: Where, part: Part, following: FollowedKinds, of: str) -> SomeWords:
    """The states behind followed transitions of a set."""
    sweep, own = _Sweep(where, part, following), words_of(of)
    found = [
        np.unique(targets)
        for section in sweep.sections()
        for _, _, targets in sweep.columns(section, own, NO_WORDS, NO_WORDS)
    ]
    return SomeWords.of(_together(found))


def widened(
    where: Where, part: Part, following: FollowedKinds, into: str, inside: str
) -> SomeWords:
    """The states that are not in a set, but in another one if one is given, from which a path of
    followed transitions of such states leads into it.
    """
    sweep, found = _Sweep(where, part, following), []
    goal, own = words_of(into, private=True), words_of(inside)
    more = True
    while more:
        more = False
        for section in sweep.sections(back=True):
            for sources, _, _ in sweep.columns(section, own, goal, goal):
                count = put_new(sources, sources.size, goal, 0)
                found.append(sources[:count].copy())
                more |= count > 0
    return SomeWords.of(_together(found))


def trimmed(where: Where, part: Part, following: FollowedKinds, of: str) -> SomeWords:
    """The states of a set from which no path of followed transitions goes on inside for ever, as
    far as that depends on these states alone.
    """
    sweep, own = _Sweep(where, part, following), words_of(of, private=True)
    found: list[Numbers] = []
    more = True
    while more:
        more = False
        for section in sweep.sections(back=True):
            *_, begin, end = section
            base, last = begin // WORD, -(-end // WORD)
            left = np.zeros(last - base, np.uint64)
            for sources, _, _ in sweep.columns(section, own, NO_WORDS, own):
                put_new(sources, sources.size, left, base * WORD)
            gone = own[base:last] & ~left & _within(begin, end)
            if gone.any():
                own[base:last] &= ~gone
                found.append(numbers_in(gone, base))
                more = True
    return SomeWords.of(_together(found))


def _within(begin: int, end: int) -> Words:
    """Words of the states from `begin` to `end`, from that of the first one on."""
    base, last = begin // WORD, -(-end // WORD)
    words = np.full(last - base, 0xFFFFFFFFFFFFFFFF, np.uint64)
    words[0] &= np.uint64(0xFFFFFFFFFFFFFFFF << begin % WORD & 0xFFFFFFFFFFFFFFFF)
    words[-1] &= np.uint64(0xFFFFFFFFFFFFFFFF >> -end % WORD)
    return words


def numbers_in(words: Words, base: int) -> Numbers:
    """The states of some words, from the one at place `base` on."""
    bits = np.unpackbits(words.view(np.uint8), bitorder="little")
    return (np.flatnonzero(bits) + base * WORD).astype(np.uint32)


def source_to(where: Where, part: Part, number: int, among: str, bounds: tuple[int, int]) -> int:
    """The first state within some bounds, and of a set if one is given, with a transition to a
    state, or -1.
    """
    following = FollowedKinds(b"\1" * len(where.kinds))
    sweep, own = _Sweep(where, part, following), words_of(among)
    for section in sweep.sections():
        *_, first, behind = section
        if behind <= bounds[0] or first >= bounds[1]:
            continue
        for sources, _, targets in sweep.columns(section, own, NO_WORDS, NO_WORDS):
            own_sources = sources[targets == number]
            inside = own_sources[(own_sources >= bounds[0]) & (own_sources < bounds[1])]
            if inside.size:
                return int(inside[0])
    return -1


def transitions_in(where: Where, part: Part, of: str, most: int) -> Columns | None:
    """All transitions of the states of a set, with the numbers of their kinds; None if there are
    more than `most`.
    """
    sweep = _Sweep(where, part, FollowedKinds(b"\1" * len(where.kinds)))
    own, total = words_of(of), 0
    found: list[Columns] = []
    for section in sweep.sections():
        kinds_of = sweep.kinds_of(sweep.file(section[1])).astype(np.uint16)
        for sources, kinds, targets in sweep.columns(section, own, NO_WORDS, NO_WORDS):
            total += sources.size
            if total > most:
                return None
            found.append((sources.copy(), kinds_of[kinds], targets.copy()))
    return columns_together(found)


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
    for level, own, begin, end in _Sweep(where, part, FollowedKinds(b"")).sections():
        file = opened(numbering.ranges.path(where.folder, "ordered", own))
        found[begin - part.begin : end - part.begin] = told(file.rows(level))
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
