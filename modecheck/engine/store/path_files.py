"""What is made once of all states of a store, when they are known, for questions about paths: their
numbers, and their transitions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from modecheck.engine.contract.phases import phase
from modecheck.engine.store.checked_files import DamagedFileError
from modecheck.engine.store.journal import Finished
from modecheck.engine.store.numbering import (
    PATHS,
    Numbering,
    Ranges,
    in_order,
    named,
    rows_between_ranges,
)
from modecheck.engine.store.row_files import RowFile, write_rows
from modecheck.engine.store.store_sets import clear_sets
from modecheck.engine.store.sweeping import Where
from modecheck.engine.store.transition_files import kinds_in_order, make_transitions_of

RANGES = "ranges"
"""The file that says where ranges begin."""
MOST_STATES = 0xFFFFFFFF
"""States that can be numbered."""
MOST_RANGES = 256
"""Ranges of states: their files are kept open."""
FEWEST_STATES = 1 << 17
"""States of a range that are not worth being divided."""
SHARES, LARGE = 4, 1 << 14
"""Ranges for each who works, so that all end at about the same time; one where levels have fewer
states than that, since sweeps go from level to level."""
BYTES_OF_A_WORD, BYTES_OF_A_STEP = 64, 48
"""Memory that a state takes, for each of its words, when it is put in order, and a transition that
waits for its number."""

Done = Callable[[list[Any]], list[Any]]
"""Does tasks."""


@dataclass(frozen=True, slots=True)
class PathFiles:
    """The files that were made."""

    where: Where
    numbering: Numbering
    transitions: int


@dataclass(frozen=True, slots=True)
class Means:
    """Who makes the files: `done` does tasks, of which `workers` can be done at the same time, each
    with so much memory.
    """

    done: Done
    workers: int
    memory: int


def path_files(folder: Path, records: Sequence[Finished], width: int, means: Means) -> PathFiles:
    """Have all files: those that are there and whole are not made again."""
    own = str(folder)
    (folder / PATHS).mkdir(exist_ok=True)
    ranges = _ranges(folder, records, width, means)
    _clear_away(folder / PATHS, ranges)
    with phase("numbering the states"):
        given = [(in_order, (own, ranges, number, records)) for number in range(len(ranges))]
        counts = means.done(given)
    numbering = Numbering(ranges, np.array(counts, np.int64))
    numbering.write(own)
    most = max(means.memory // (BYTES_OF_A_STEP + 16 * width), 1)
    with phase("making the transitions"):
        made = means.done(
            [(make_transitions_of, (own, ranges.name, n, most)) for n in range(len(ranges))]
        )
    where = Where(own, ranges.name, kinds_in_order(made))
    return PathFiles(where, numbering, sum(one.transitions for one in made))


def _clear_away(folder: Path, ranges: Ranges) -> None:
    """Remove what was begun and not finished, and files of other ranges."""
    clear_sets(folder)
    for path in folder.iterdir():
        is_kept = path.name == RANGES or path.name.startswith(f"{ranges.name}-")
        if path.is_file() and (not is_kept or path.suffix):
            path.unlink(missing_ok=True)


def _ranges(folder: Path, records: Sequence[Finished], width: int, means: Means) -> Ranges:
    """The ranges that were chosen before, or new ones."""
    path = folder / PATHS / RANGES
    try:
        rows = RowFile(path).rows()
    except DamagedFileError:
        sizes = [size for record in records for size in record.sizes]
        states, shares = sum(sizes), means.workers
        if states > LARGE * len(sizes):
            shares *= SHARES
        most = max(means.memory // (BYTES_OF_A_WORD * width), 1)
        count = max(-(-states // most), min(states // FEWEST_STATES, shares), 1)
        rows = rows_between_ranges(str(folder), records, width, min(count, MOST_RANGES))
        write_rows(path, width, [rows], durable=False)
    return named(rows, width)
