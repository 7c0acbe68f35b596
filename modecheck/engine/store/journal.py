"""What a store has finished, in a journal to which lines are only added, and who it belongs to.

Each line is a record as JSON with a checksum before it. A line that is cut off or damaged ends the
journal: what it told is done again. A file of states that a record names is on the disk before the
record is; runs can be made again.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

JOURNAL, ABOUT = "journal", "store.json"
STATES, RUNS, OUTBOX = "states", "runs", "outbox"
FORMAT = 2


@dataclass(frozen=True, slots=True)
class About:
    """Whose states a store holds, and how they are laid out. `digest` stands for the model and
    modecheck; each choice of options has a folder of its own.
    """

    digest: str
    device: str
    version: str
    width: int
    partitions: int
    format: int = FORMAT


@dataclass(frozen=True, slots=True)
class Finished:
    """Levels that are finished: from `first` on, `sizes` states each.

    A place is the name of a file and the number of a section in it. A span has a place for each of
    its levels, all in one file, a level that was merged one for each partition, empty where it has
    no states. `runs` are the places of known states of each partition, behind the first level that
    was merged. The states that lead to these have `transitions` steps in all; `failures` are the
    failing steps of them.
    """

    first: int
    sizes: tuple[int, ...]
    places: tuple[str, ...]
    transitions: int
    failures: tuple[tuple[int, ...], ...] = ()
    runs: tuple[tuple[str, ...], ...] = ()
    is_span: bool = False

    @property
    def end(self) -> int:
        """The level behind the last one."""
        return self.first + len(self.sizes)

    @property
    def files(self) -> set[str]:
        """The files in which its states lie."""
        return {file_of(place) for place in self.places if place}

    @property
    def run_files(self) -> set[str]:
        """The files in which the known states lie."""
        return {file_of(place) for some in self.runs for place in some}


@dataclass(slots=True)
class Journal:
    """The journal of a store's folder, read, and open for more. `layers` says how many states each
    level has.
    """

    folder: Path
    finished: list[Finished] = field(default_factory=list)
    layers: list[int] = field(default_factory=list)
    states: int = 0
    transitions: int = 0

    @property
    def path(self) -> Path:
        return self.folder / JOURNAL

    def read(self) -> None:
        """Read what is finished, up to the first line that is not whole; what is behind that is
        removed.
        """
        good = 0
        self._forget_all()
        try:
            data = self.path.read_bytes()
        except FileNotFoundError:
            return
        for record, size in _records(data):
            self._count(record)
            good += size
        if good < len(data):
            self._cut(good)

    def add(self, record: Finished) -> None:
        """Add a record; it is on the disk when this returns."""
        with open(self.path, "ab") as file:
            file.write(_line(record))
            file.flush()
            os.fsync(file.fileno())
        self._count(record)

    def forget_from(self, number: int) -> None:
        """Forget a record and all behind it, since what it names is damaged."""
        kept = self.finished[:number]
        self._cut(sum(len(_line(record)) for record in kept))
        self._forget_all()
        for record in kept:
            self._count(record)

    def _count(self, record: Finished) -> None:
        self.finished.append(record)
        self.layers += record.sizes
        self.states += sum(record.sizes)
        self.transitions += record.transitions

    def _forget_all(self) -> None:
        self.finished.clear()
        self.layers.clear()
        self.states = self.transitions = 0

    def _cut(self, size: int) -> None:
        with open(self.path, "r+b") as file:
            file.truncate(size)
            file.flush()
            os.fsync(file.fileno())


def file_of(place: str) -> str:
    """The file that a place is in."""
    return place.partition(":")[0]


def _line(record: Finished) -> bytes:
    body = json.dumps(
        {name: getattr(record, name) for name in Finished.__dataclass_fields__},
        separators=(",", ":"),
    ).encode()
    return b"%08x %s\n" % (zlib.crc32(body), body)


def _records(data: bytes) -> Iterator[tuple[Finished, int]]:
    for line in data.splitlines(keepends=True):
        checksum, _, body = line.partition(b" ")
        if not line.endswith(b"\n") or b"%08x" % zlib.crc32(body[:-1]) != checksum:
            return
        yield _record(json.loads(body)), len(line)


def _record(given: dict[str, Any]) -> Finished:
    return Finished(
        first=given["first"],
        sizes=tuple(given["sizes"]),
        places=tuple(given["places"]),
        transitions=given["transitions"],
        failures=tuple(map(tuple, given["failures"])),
        runs=tuple(map(tuple, given["runs"])),
        is_span=given["is_span"],
    )
