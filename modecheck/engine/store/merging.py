"""The second task of a level: what is new in each partition, and its runs of known states."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.journal import RUNS, STATES, Finished
from modecheck.engine.store.packed_rows import PackedRows, Packer, distinct, pack, unflagged
from modecheck.engine.store.row_files import split, write_packed
from modecheck.engine.store.tasks import Group, homes_of, machine_of, opened, section_at, spans_of

FEWEST_MERGED = 2
"""A run is merged with the one before it, if that is not this many times as large."""
TOGETHER = 1 << 22
"""Words that are sorted at once when known states are gathered."""


@dataclass(frozen=True, slots=True)
class Merged:
    """What is new in each partition of a group: how many states, where (nowhere is an empty text),
    and its runs of known states from now on.
    """

    counts: tuple[int, ...]
    places: tuple[str, ...]
    runs: tuple[tuple[str, ...], ...]


def merge(
    folder: str,
    level: int,
    group: Group,
    outbox: Sequence[str],
    runs: Sequence[Sequence[str]],
    memory: int,
) -> Merged:
    """The states of a group that are new in a level, in about so many bytes of memory."""
    width = machine_of(folder).layout.words
    files = [opened(f"{folder}/{name}") for name in outbox]
    name = f"{STATES}/{level:06}-{group.begin:02}-{group.run}"
    sections = [
        new_states(
            width,
            [file.section(partition) for file in files],
            [packed_at(folder, run) for run in known],
            max(memory // (24 * width), 1),
        )
        for partition, known in zip(group, runs, strict=True)
    ]
    if any(rows.count for rows in sections):
        write_packed(Path(folder) / name, width, sections)
    places = tuple(f"{name}:{number}" if one.count else "" for number, one in enumerate(sections))
    kept = tuple(
        with_run(folder, [*known, place], f"{partition:02}-{level:06}-{group.run}", memory // 3)
        if place
        else tuple(known)
        for partition, known, place in zip(group, runs, places, strict=True)
    )
    opened.cache_clear()  # files that are removed take room as long as they are open
    return Merged(tuple(one.count for one in sections), places, kept)


def packed_at(folder: str, place: str) -> PackedRows:
    """The rows at a place."""
    file, section = section_at(folder, place)
    return file.section(section)


def new_states(
    width: int, parts: Sequence[PackedRows], runs: Sequence[PackedRows], most: int
) -> PackedRows:
    """The rows of some parts that are in no run, some `most` of them unpacked at a time."""
    packer = Packer(width)
    for rows in _together(width, [part for part in parts if part.count], most):
        known = np.zeros(rows.size // width, np.uint8)
        for run in runs:
            run.flag(rows, known)
        packer.add(unflagged(rows, width, known))
    return packer.finished()


def _together(width: int, parts: list[PackedRows], most: int) -> Iterator[Words]:
    """The rows of some parts, sorted and each once, some at a time: they are cut where blocks of
    the largest part begin.
    """
    if not parts:
        return
    largest = max(parts, key=lambda part: part.count)
    blocks = largest.offsets.size
    times = min(-(-sum(part.count for part in parts) // most), blocks)
    cuts = [blocks * number // times * width for number in range(1, times)]
    places = [[part.place_of(largest.leading[cut : cut + width]) for part in parts] for cut in cuts]
    ends = [[0] * len(parts), *places, [part.count for part in parts]]
    for begins, behind in pairwise(ends):
        bounds = zip(parts, begins, behind, strict=True)
        rows = np.concatenate([part.between(begin, end) for part, begin, end in bounds])
        yield rows if len(parts) == 1 else distinct(rows, width)


def with_run(folder: str, runs: list[str], name: str, most: int) -> tuple[str, ...]:
    """Runs, of which the last is new, with small ones merged into one of this name, so that each is
    several times as large as the next. None of more than `most` bytes is made.
    """
    packed = [packed_at(folder, run) for run in runs]
    first, whole, size = len(runs) - 1, packed[-1].count, packed[-1].packed.size
    while first > 0 and packed[first - 1].count < FEWEST_MERGED * whole:
        first -= 1
        whole, size = whole + packed[first].count, size + packed[first].packed.size
        if size > most:
            first += 1
            break
    if first == len(runs) - 1:
        return tuple(runs)
    merged = packed[-1]
    for other in packed[first:-1][::-1]:  # small ones first take the least time
        merged = merged.merged(other)
    path = f"{RUNS}/{name}"
    # After a loss of power a run may turn out damaged: it is made again then.
    write_packed(Path(folder) / path, merged.width, [merged], durable=False)
    return (*runs[:first], f"{path}:0")


def gather(folder: str, records: Sequence[Finished], group: Group) -> tuple[str, ...]:
    """A run of all states of each partition of a group, from the files of all levels."""
    width = machine_of(folder).layout.words
    found = [Gathered() for _ in group]
    for record in records:
        if record.is_span:
            parts = (rows for rows, _ in spans_of(folder, record, group))
            _share_out(parts, width, group, found)
            continue
        for partition, own in zip(group, found, strict=True):
            if record.places and record.places[partition]:
                own.add(packed_at(folder, record.places[partition]))
    name = f"{RUNS}/{group.begin:02}-{records[-1].end:06}-gathered-{group.run}"
    write_packed(Path(folder) / name, width, [own.all(width) for own in found], durable=False)
    return tuple(f"{name}:{number}" for number in range(len(found)))


class Gathered:
    """Rows that come packed, merged so that none is packed often."""

    def __init__(self) -> None:
        self._parts: list[PackedRows] = []

    def add(self, rows: PackedRows) -> None:
        while self._parts and self._parts[-1].count <= 2 * rows.count:
            rows = self._parts.pop().merged(rows)
        self._parts.append(rows)

    def all(self, width: int) -> PackedRows:
        """All of them as one."""
        rows = pack(np.empty(0, np.uint64), width)
        while self._parts:
            rows = self._parts.pop().merged(rows)
        return rows


def _share_out(parts: Iterator[Words], width: int, group: Group, found: list[Gathered]) -> None:
    """Hand rows of a group, of which none occurs twice, to those who gather its partitions."""
    waiting: list[Words] = []

    def hand_out() -> None:
        if waiting:
            rows = distinct(np.concatenate(waiting), width)
            by_home = split(rows, width, homes_of(rows, width, group.partitions), group.partitions)
            for partition, own in zip(group, found, strict=True):
                own.add(pack(by_home[partition], width))
            waiting.clear()

    for rows in parts:
        waiting.append(rows)
        if sum(part.size for part in waiting) > TOGETHER:
            hand_out()
    hand_out()
