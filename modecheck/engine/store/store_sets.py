"""Sets of the states of a store, and sweeps over its files (`StateSets`).

A set is held by the process that asks, as words, and written to a file as far as tasks need it.
"""

from __future__ import annotations

import os
import weakref
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.large.state_sets import Followed, ListedTransitions, Numbers
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.transition_making_kernels import EVENT_BITS
from modecheck.engine.store import sweeping
from modecheck.engine.store.folder_lock import is_locked
from modecheck.engine.store.folder_trust import StoreError
from modecheck.engine.store.numbering import PATHS, Numbering
from modecheck.engine.store.sweeping import WORD, FollowedKinds, Part, SomeWords, Where, written
from modecheck.engine.store.transition_files import Columns

R = TypeVar("R")

TOGETHER, SHARE = 1 << 18, 1 << 8
"""States of levels that one task looks at together, or this share of all states if that is more:
what it finds is looked for among the words of a whole set."""
TASKS_AT_ONCE, WORDS_TOGETHER = 8, 1 << 16
"""Tasks that are given out for each who works before results are looked at, and words of a set
whose numbers are told at once."""
SETS, LOCK = "sets-", "lock"
"""What the names of folders of sets begin with, and the file in each that is locked as long as its
process goes on."""


class StoreSets:
    """See `StateSets`. `done` does tasks, of which `workers` can be done at the same time."""

    def __init__(
        self,
        where: Where,
        numbering: Numbering,
        conditions: int,
        done: Callable[[list[Any]], list[Any]],
        workers: int,
        noted: Callable[[frozenset[int]], dict[int, int]],
    ) -> None:
        self._where, self._conditions, self._done = where, conditions, done
        self.noted = noted
        self.layers: list[int] = numbering.counts.sum(axis=0).tolist()
        self.expanded = self._count = sum(self.layers)
        low = (1 << int(EVENT_BITS)) - 1
        self.kinds: list[tuple[int, int, int]] = [
            (happened >> int(EVENT_BITS), moved, happened & low) for moved, happened in where.kinds
        ]
        self._bands, self._workers = parts_of(numbering, workers), workers
        self._folder = Path(mkdtemp(prefix=SETS, dir=Path(where.folder) / PATHS))
        handle = os.open(self._folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
        is_locked(handle)
        weakref.finalize(self, _remove, self._folder, handle)
        self._names = 0
        self._failing: Words | None = None
        self._marks_are_known = False

    def none(self) -> Words:
        return np.zeros(-(-self._count // WORD), np.uint64)

    def of(self, numbers: Numbers) -> Words:
        own = self.none()
        self._put(own, SomeWords.of(np.asarray(numbers, np.uint32)))
        return own

    @staticmethod
    def _put(own: Words, some: SomeWords) -> None:
        own[some.places] |= some.words

    def where(self, some: int, lacking: int = 0) -> Words:
        own = self.none()
        for bit in range(self._conditions):
            if some >> bit & 1:
                own |= self._marked(bit)
            if lacking >> bit & 1:
                own |= ~self._marked(bit)
        self._cut(own)
        return own

    def _marked(self, bit: int) -> Words:
        """The states in which a condition holds."""
        return np.fromfile(self._mark_file(bit), np.uint64)

    def _mark_file(self, bit: int) -> Path:
        """The file of that set; those of all conditions are made at once."""
        if not self._marks_are_known:
            self._marks_are_known = True
            for number in range(self._conditions):
                (self._folder / f"mark-{number}").touch()
            before = [np.uint64(0)] * self._conditions
            for part, sets in self._asked(self._wanted(None), sweeping.marked, self._conditions):
                for number, words in enumerate(sets):
                    words[0] |= before[number]
                    # The next part has a share of the last word, too.
                    shared = part.end % WORD and part.end < self._count
                    before[number] = words[-1] if shared else np.uint64(0)
                    whole = words[: words.size - bool(shared)]
                    with self._writing(), open(self._folder / f"mark-{number}", "ab") as file:
                        file.write(whole.tobytes())
        return self._folder / f"mark-{bit}"

    def valued(self, field: int, values: Collection[int]) -> Words:
        own = self.none()
        for part, words in self._asked(self._wanted(None), sweeping.valued, field, tuple(values)):
            first = part.begin // WORD
            own[first : first + words.size] |= words
        return own

    def unknown(self, *, past_failures: bool) -> Words:
        if not past_failures:
            return self.none()
        if self._failing is None:
            self._failing = self.none()
            following = FollowedKinds(bytes(len(self.kinds)), failing=True)
            for _, some in self._asked(self._wanted(None), sweeping.sources_in, following, "", ""):
                self._put(self._failing, some)
        return self._failing.copy()

    def join(self, into: Words, other: Words) -> None:
        into |= other

    def keep(self, into: Words, other: Words) -> None:
        into &= other

    def drop(self, into: Words, other: Words) -> None:
        into &= ~other

    def free(self, *_: Words) -> None:
        """Nothing has to be done."""

    def numbers(self, own: Words) -> Numbers:
        found = [np.empty(0, np.uint32)]
        for begin in range(0, own.size, WORDS_TOGETHER):
            words = own[begin : begin + WORDS_TOGETHER]
            if words.any():
                found.append(sweeping.numbers_in(words, begin))
        return np.concatenate(found)

    def count(self, own: Words) -> int:
        return sum(
            int(np.unpackbits(own[begin : begin + WORDS_TOGETHER].view(np.uint8)).sum())
            for begin in range(0, own.size, WORDS_TOGETHER)
        )

    def bits(self, own: Words) -> NDArray[np.uint64]:
        return own.copy()

    def sources(
        self, followed: Followed, of: Words | None = None, into: Words | None = None
    ) -> Words:
        own, following = self.none(), self._following(followed)
        with self._sent(of, into) as (sent, goal):
            parts = self._wanted(of)
            for _, some in self._asked(parts, sweeping.sources_in, following, sent, goal):
                self._put(own, some)
        return own

    def targets(self, of: Words, followed: Followed, without: Words) -> Words:
        own, following = self.none(), self._following(followed)
        with self._sent(of) as (sent,):
            for _, some in self._asked(self._wanted(of), sweeping.targets_of, following, sent):
                self._put(own, some)
        own &= ~without
        return own

    def widen(self, into: Words, followed: Followed, inside: Words | None = None) -> None:
        following = self._following(followed)

        def has_left(begin: int, end: int) -> bool:
            own = ~into[begin:end]
            return bool((own if inside is None else own & inside[begin:end]).any())

        def change(some: SomeWords) -> None:
            into[some.places] |= some.words

        with self._sent(into, inside) as (sent, own):
            changed = self._settled(has_left, change, sweeping.widened, following, sent, own)
            for begin, end in changed:
                self._write(Path(sent), into, begin, end)

    def trim(self, own: Words, followed: Followed) -> None:
        following = self._following(followed)

        def change(some: SomeWords) -> None:
            own[some.places] &= ~some.words

        with self._sent(own) as (sent,):
            changed = self._settled(
                lambda begin, end: bool(own[begin:end].any()),
                change, sweeping.trimmed, following, sent,
            )  # fmt: skip
            for begin, end in changed:
                self._write(Path(sent), own, begin, end)

    def _settled(
        self,
        has_left: Callable[[int, int], bool],
        change: Callable[[SomeWords], None],
        task: Callable[..., SomeWords],
        *arguments: Any,
    ) -> Iterator[tuple[int, int]]:
        """Do a task with all parts among whose words some are left, from the deepest level to the
        first, and change a set by what it finds, as long as it finds something. Each time which
        words are changed: they have to be written before it goes on.
        """
        more = True
        while more:
            more = False
            for band in reversed(self._bands):
                parts = [part for part in band if has_left(*part.words)]
                for _, some in list(self._asked(parts, task, *arguments)):
                    if some.places.size:
                        change(some)
                        yield int(some.places[0]), int(some.places[-1]) + 1
                        more = True
            # What a single part leads to inside of itself is known to it.
            more &= sum(map(len, self._bands)) > 1

    def first_step(self, of: Words, into: Words, followed: Followed) -> int | None:
        following = self._following(followed)
        with self._sent(of, into) as (sent, goal):
            for _, some in self._asked(
                self._wanted(of), sweeping.sources_in, following, sent, goal, at_once=1
            ):
                if some.places.size:
                    word = int(some.words[0])
                    lowest = (word & -word).bit_length() - 1
                    return int(some.places[0]) * WORD + lowest
        return None

    def source_of(self, number: int, begin: int, end: int) -> int | None:
        parts = [part for part in self._wanted(None) if part.begin < end and begin < part.end]
        for _, found in self._asked(parts, sweeping.source_to, number, (begin, end), at_once=1):
            if found >= 0:
                return found
        return None

    def transitions(self, of: Numbers, most: int) -> ListedTransitions | None:
        own, total = self.of(of), 0
        found: list[Columns] = []
        with self._sent(own) as (sent,):
            for _, columns in self._asked(self._wanted(own), sweeping.transitions_in, sent, most):
                if columns is None or total + columns[0].size > most:
                    return None
                total += columns[0].size
                found.append(columns)
        sources, kinds, targets = sweeping.columns_together(found)
        ends = np.searchsorted(sources, of, side="right").astype(np.int64)
        return ListedTransitions(np.concatenate([np.zeros(1, np.int64), ends]), targets, kinds)

    def _following(self, followed: Followed) -> FollowedKinds:
        gains = tuple(
            str(self._mark_file(bit))
            for bit in range(self._conditions)
            if followed.gains >> bit & 1
        )
        return FollowedKinds(bytes(followed.kinds), followed.away, gains)

    def _wanted(self, of: Words | None) -> list[Part]:
        """The parts in which a set has states."""
        parts = [part for band in self._bands for part in band]
        return parts if of is None else [part for part in parts if _some(of, part)]

    def _asked(
        self,
        parts: Sequence[Part],
        task: Callable[..., R],
        *arguments: Any,
        at_once: int = TASKS_AT_ONCE,
    ) -> Iterator[tuple[Part, R]]:
        """The results of a task with each of some parts, in their order. For each who works
        `at_once` tasks are given out at a time.
        """
        step = at_once * self._workers
        for begin in range(0, len(parts), step):
            some = parts[begin : begin + step]
            given = [(task, (self._where, part, *arguments)) for part in some]
            yield from zip(some, self._done(given), strict=True)

    @contextmanager
    def _sent(self, *sets: Words | None) -> Iterator[tuple[str, ...]]:
        """The names of files of some sets, nothing for none, that tasks may read meanwhile."""
        paths = []
        try:
            for own in sets:
                self._names += 1
                path = self._folder / str(self._names)
                paths.append(path if own is not None else None)
                if own is not None:
                    self._write(path, own, *_span(own))
            yield tuple("" if path is None else str(path) for path in paths)
        finally:
            for path in filter(None, paths):
                path.unlink(missing_ok=True)

    def _write(self, path: Path, own: Words, begin: int, end: int) -> None:
        with self._writing():
            written(path, own, begin, end)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise StoreError(self._folder, f"sets of states cannot be written: {reason}") from error

    def _cut(self, own: Words) -> None:
        """Take out what is behind the last state."""
        if self._count % WORD:
            own[-1] &= np.uint64((1 << self._count % WORD) - 1)


def clear_sets(folder: Path) -> None:
    """Remove the sets of processes that ended without having done so."""
    for path in folder.glob(f"{SETS}*"):
        with suppress(OSError):
            handle = os.open(path / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
            if is_locked(handle):
                rmtree(path, ignore_errors=True)
            os.close(handle)


def _remove(folder: Path, handle: int) -> None:
    rmtree(folder, ignore_errors=True)
    os.close(handle)


def _some(own: Words, part: Part) -> bool:
    begin, end = part.words
    return bool(own[begin:end].any())


def _span(own: Words) -> tuple[int, int]:
    """From where to where a set has words that are not zero."""
    places = np.flatnonzero(own)
    return (int(places[0]), int(places[-1]) + 1) if places.size else (0, 0)


def parts_of(numbering: Numbering, workers: int) -> list[list[Part]]:
    """All states in parts, level by level: levels that are small together, one that is large for
    as many as work.
    """
    bands: list[list[Part]] = []
    first, sizes = 0, numbering.counts.sum(axis=0).tolist()
    every, together = len(numbering.ranges), max(TOGETHER, sum(sizes) // SHARE)
    for level, size in enumerate(sizes):
        begin, end = numbering.first_of[first], numbering.first_of[level + 1]
        if size > together and workers > 1 and every > 1:
            if first < level:
                bands.append([Part((first, level), (0, every), begin, numbering.first_of[level])])
            bands.append(_shares(numbering, level, workers))
            first = level + 1
        elif end - begin > together or level + 1 == len(sizes):
            bands.append([Part((first, level + 1), (0, every), begin, end)])
            first = level + 1
    return bands


def _shares(numbering: Numbering, level: int, workers: int) -> list[Part]:
    """A level in about equal shares."""
    ends = np.cumsum(numbering.counts[:, level])
    wanted = [int(ends[-1]) * number // workers for number in range(1, workers)]
    cuts = sorted({0, *np.searchsorted(ends, wanted).tolist(), ends.size})
    shares = []
    for low, high in pairwise(cuts):
        begin = int(numbering.begins[low, level])
        size = int(numbering.counts[low:high, level].sum())
        if size:
            shares.append(Part((level, level + 1), (low, high), begin, begin + size))
    return shares
