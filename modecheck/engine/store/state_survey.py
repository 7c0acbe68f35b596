"""What checks ask of the states in a store, of all of them in one pass: tasks, as for exploring."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.graph_kernels import flag_states
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.native.transition_making import room_for_records
from modecheck.engine.store import expanding_kernels as kernels
from modecheck.engine.store.journal import Finished
from modecheck.engine.store.tasks import Group, machine_of, spans_of, states_of

MOST_QUIESCENT = 1 << 20
"""States without rest in which nothing moves that are kept; more of them are an error at once."""

Place = tuple[int, tuple[int, ...]]
"""A state: its level, and its words. Places are in the order of numbers in memory."""


@dataclass(slots=True)
class Survey:
    """What was seen of some states: for each set of marks the first state with it and how many,
    the values of each chip's state field, the notes of the code, and the states that are quiescent
    and do not rest, with their marks.
    """

    marks: dict[int, tuple[Place, int]] = field(default_factory=dict)
    occupied: list[set[int]] = field(default_factory=list)
    seen: bytes = b""
    quiescent: list[tuple[Place, int]] = field(default_factory=list)

    def add(self, other: Survey) -> None:
        """Take in what was seen of other states."""
        for marks, (first, count) in other.marks.items():
            known = self.marks.get(marks)
            self.marks[marks] = (
                (min(known[0], first), known[1] + count) if known is not None else (first, count)
            )
        pairs = zip(self.occupied, other.occupied, strict=True)
        self.occupied = [a | b for a, b in pairs] if self.occupied else other.occupied
        self.seen = bytes(map(max, self.seen, other.seen)) if self.seen else other.seen
        self.quiescent += other.quiescent


def look(folder: str, record: Finished, group: Group, resting: int, is_expanded: bool) -> Survey:
    """Look at the states of a group in the levels of a record. `resting` are the marks of states
    that may be quiescent; what states that are not expanded lead to is not looked at.
    """
    machine = machine_of(folder)
    found = Survey()
    for rows, levels in spans_of(folder, record, group):
        if rows.size:
            found.add(_surveyed(machine, rows, levels, resting, is_expanded=is_expanded))
    return found


def _surveyed(
    machine: CompiledProduct,
    rows: Words,
    levels: NDArray[np.int64],
    resting: int,
    *,
    is_expanded: bool,
) -> Survey:
    width = machine.layout.words
    count = rows.size // width
    marked, quiescent = np.zeros(count, np.uint64), np.zeros(count, np.uint8)
    seen = np.zeros(len(machine.seen) + 64, np.uint8)
    kernels.look_at(
        np.uint64(machine.successors), np.uint64(machine.marks), width, rows, count, seen,
        room_for_records(machine), marked, quiescent,
    )  # fmt: skip

    def place(row: int) -> Place:
        return int(levels[row]), tuple(rows[row * width : (row + 1) * width].tolist())

    values, firsts, counts = np.unique(marked, return_index=True, return_counts=True)
    of_each = zip(values.tolist(), firsts.tolist(), counts.tolist(), strict=True)
    stuck: list[int] = []
    if is_expanded:
        stuck = np.flatnonzero(quiescent & ((marked & np.uint64(resting)) == 0)).tolist()
    return Survey(
        {marks: (place(first), many) for marks, first, many in of_each},
        [_values(machine, rows, chip.state_field) for chip in machine.product.chips],
        seen.tobytes() if is_expanded else bytes(seen.size),
        [(place(row), int(marked[row])) for row in stuck],
    )


def _values(machine: CompiledProduct, rows: Words, number: int) -> set[int]:
    """The values of a field."""
    place = machine.layout.places[number]
    stored = rows[place.word :: machine.layout.words] >> np.uint64(place.shift)
    flags = np.bincount((stored & np.uint64(place.mask)).astype(np.int64))
    return {value + place.low for value in np.flatnonzero(flags).tolist()}


def note(folder: str, record: Finished, group: Group, curious: frozenset[int]) -> bytes:
    """The notes of code that looks at rules that lost, of the expanded states of a record."""
    machine = machine_of(folder, curious)
    seen = np.zeros(len(machine.seen) + 64, np.uint8)
    records = room_for_records(machine)
    for rows, levels in spans_of(folder, record, group):
        spare = np.zeros(levels.size, np.uint8)
        flag_states(
            machine.successors, seen, rows, machine.layout.words, 0, levels.size, records, spare,
            spare.copy(),
        )  # fmt: skip
    return seen.tobytes()


def step_before(
    folder: str, record: Finished, level: int, group: Group, goal: tuple[int, ...]
) -> tuple[tuple[int, ...], int] | None:
    """The first state of a group in a level from which a step leads to `goal`, and the least label
    of such a step.
    """
    machine = machine_of(folder)
    width, wanted = machine.layout.words, np.array(goal, np.uint64)
    seen, records = np.zeros(len(machine.seen) + 64, np.uint8), room_for_records(machine)
    best: tuple[tuple[int, ...], int] | None = None
    for rows in states_of(folder, record, level, group):  # one partition after the other
        row, label = kernels.find_step(
            np.uint64(machine.successors), width, rows, rows.size // width, seen, records, wanted
        )
        if row >= 0:
            found = tuple(rows[row * width : (row + 1) * width].tolist()), int(label)
            best = found if best is None else min(best, found)
    return best
