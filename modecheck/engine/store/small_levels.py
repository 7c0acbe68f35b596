"""Small levels, expanded by one process, many of them before they are written."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Reserved, Words
from modecheck.engine.store import expanding_kernels as kernels
from modecheck.engine.store import tasks
from modecheck.engine.store.expanding import RECENT, Expander, Outbox, with_steps
from modecheck.engine.store.journal import RUNS
from modecheck.engine.store.merging import packed_at, with_run
from modecheck.engine.store.packed_rows import distinct, unflagged
from modecheck.engine.store.row_files import split, write_rows

if TYPE_CHECKING:
    from modecheck.engine.store.store_explorer import StoreExplorer

FEW = 1 << 15
"""States of a level that one process expands sooner than several have read their tasks."""
FULLEST = 0.6
"""Share of the places of a table that are used at the most."""
LEVELS_AT_ONCE, STATES_AT_ONCE = 1 << 12, 1 << 19
"""Levels, and states, that are expanded in memory between two looks at the clock."""
ROOM = 1 << 20
"""Rows that states of a small level lead to before they are looked up."""
SECONDS_TO_LOSE = 20.0
"""How much work in memory may be lost; what is found meanwhile is written then."""


class InMemory:
    """The states of a store in the memory of this process, while all fit."""

    def __init__(self, explorer: StoreExplorer) -> None:
        self._explorer = explorer
        self._machine = explorer.machine
        width = self._width = self._machine.layout.words
        room = int(explorer.memory / (8 * width + 4 / FULLEST) / 2)
        self._most = min(room, (1 << 32) - 2)
        self._states = Reserved((self._most + self._machine.most_records) * width).words
        self._table = np.zeros(1 << 12, np.uint32)
        self._begin = self._filled = 0

    def go_on(self) -> None:
        """Expand levels until one is large, or all is done, and write them from time to time."""
        if not self._load():
            return
        explorer = self._explorer
        while not explorer.complete and not explorer.limit_met():
            if not self._some_levels():
                return

    def _load(self) -> bool:
        """Take what is known into memory, if it fits."""
        explorer, layers = self._explorer, self._explorer.journal.layers
        if explorer.journal.states > self._most:
            return False
        everything = tasks.Group(0, explorer.partitions, explorer.partitions)
        for record in explorer.journal.finished:
            for rows, _ in tasks.spans_of(str(explorer.folder), record, everything):
                begin = self._filled * self._width
                self._states[begin : begin + rows.size] = rows
                self._filled += rows.size // self._width
        self._begin = self._filled - (layers[-1] if layers else 0)
        self._widen(2 * self._filled)
        return True

    def _widen(self, rows: int) -> None:
        """Have a table with room for so many states."""
        self._table = np.zeros(max(int(rows / FULLEST), 1 << 12), np.uint32)
        kernels.enter_all(self._table, self._states, 0, self._filled, self._width)

    def _some_levels(self) -> bool:
        """Expand levels until they are written; whether memory can go on."""
        explorer, expander = self._explorer, Expander.of(self._machine, 0)
        first, ends, began = len(explorer.journal.layers), [self._filled], time.monotonic()
        goes_on = True
        while goes_on and not self._must_be_written(began):
            done = self._expand(expander, first + len(ends) - 2)
            ends += done
            explorer.tell(self._filled - ends[0], expander.transitions)
            if len(ends) > 1 and ends[-1] == ends[-2]:
                break
            goes_on = bool(done) or self._has_room()
        is_done = len(ends) > 1 and ends[-1] == ends[-2]
        behind = np.array(ends[1 : len(ends) - is_done], np.int64) - ends[0]
        if len(ends) > 1:
            rows = self._states[ends[0] * self._width : ends[-1] * self._width].copy()
            explorer.add_span(first, rows, behind, expander.transitions, expander.failing())
        if is_done and behind.size:
            explorer.add_span(first + behind.size, rows[:0], behind[:0], 0, ())
        return goes_on

    def _expand(self, expander: Expander, level: int) -> list[int]:
        """Expand some levels; where each new one ends."""
        ends = np.zeros(LEVELS_AT_ONCE, np.int64)
        most = min(self._most, int(self._table.size * FULLEST))
        done = with_steps(kernels.expand_alone, self._machine)(
            expander.code, self._width, self._states, self._begin, self._filled, most,
            self._quota(), FEW, self._table, self._machine.most_records, expander.failed,
            expander.failures, level, ends, expander.counters,
        )  # fmt: skip
        found: list[int] = ends[:done].tolist()
        if found:
            self._begin = ([self._filled, *found])[-2]
            self._filled = found[-1]
        return found

    def _must_be_written(self, began: float) -> bool:
        """Whether a limit is met, or more would be lost than is bearable."""
        bound = self._explorer.limits.states
        too_many = bound is not None and self._filled > bound
        late = time.monotonic() - began > SECONDS_TO_LOSE
        return too_many or late or self._explorer.time_is_up

    def _quota(self) -> int:
        """States that are expanded before somebody looks at the limits."""
        bound = self._explorer.limits.states
        return STATES_AT_ONCE if bound is None else min(STATES_AT_ONCE, bound - self._filled + 1)

    def _has_room(self) -> bool:
        """Whether what the last level leads to has room, perhaps in a larger table."""
        size = self._filled - self._begin
        needed = self._filled + size * self._machine.most_records
        if size > FEW or needed > self._most:
            return False
        self._widen(2 * needed)
        return True


class BesideRuns:
    """Small levels behind large ones: what they lead to is looked up in the runs of known states,
    and what is new is kept in memory until there are many levels of it.
    """

    def __init__(self, explorer: StoreExplorer, runs: tuple[tuple[str, ...], ...]) -> None:
        self._explorer = explorer
        self._machine = explorer.machine
        self._folder = str(explorer.folder)
        self._width = self._machine.layout.words
        self._runs = runs
        self._known = [[packed_at(self._folder, run) for run in some] for some in runs]
        most = self._machine.most_records
        room = max(ROOM // explorer.partitions, 2 * most)
        self._outbox = Outbox(self._folder, "", self._width, explorer.partitions, room)
        self._recent = np.zeros(RECENT * self._width, np.uint64)
        self._states, self._table = np.empty(0, np.uint64), np.zeros(1, np.uint32)
        self._filled = 0

    def go_on(self) -> None:
        """Expand levels until one is large, or there are many, or all is done, and write them."""
        explorer, journal = self._explorer, self._explorer.journal
        last, first, began = journal.finished[-1], len(journal.layers), time.monotonic()
        everything = tasks.Group(0, explorer.partitions, explorer.partitions)
        states = tasks.states_of(self._folder, last, last.end - 1, everything)
        rows, expander, ends = np.concatenate([*states]), Expander.of(self._machine, 0), [0]
        while 0 < rows.size <= FEW * self._width and not self._must_be_written(began, len(ends)):
            expander.level = first + len(ends) - 2
            begin = self._filled
            for found in self._found_from(expander, rows):
                self._enter(found)
            rows = self._states[begin * self._width : self._filled * self._width]
            ends += [self._filled] if rows.size else []
            explorer.tell(self._filled, expander.transitions)
        self._write(first, np.array(ends[1:], np.int64), expander)
        if not rows.size and len(ends) > 1:
            nothing = np.empty(0, np.int64)
            explorer.add_span(first + len(ends) - 1, rows, nothing, 0, (), self._runs)

    def _found_from(self, expander: Expander, rows: Words) -> list[Words]:
        """What rows lead to that is in no run, partition by partition."""
        parts: list[list[Words]] = [[] for _ in self._known]
        at = 0
        while at < rows.size // self._width:
            at = expander.spread(rows, at, self._recent, self._outbox)
            for part, found in zip(parts, self._outbox.taken(), strict=True):
                if found.size:
                    part.append(found.copy())
        return [
            self._unknown(part[0] if len(part) == 1 else np.concatenate(part), number)
            for number, part in enumerate(parts)
            if part
        ]

    def _unknown(self, found: Words, partition: int) -> Words:
        """Of rows of a partition those that are in no run."""
        rows = distinct(found, self._width)
        known = np.zeros(rows.size // self._width, np.uint8)
        for run in self._known[partition]:
            run.flag(rows, known)
        return unflagged(rows, self._width, known)

    def _enter(self, rows: Words) -> None:
        """Keep those of some rows that have not been found since these levels began."""
        count = rows.size // self._width
        if self._filled + count > int(self._table.size * FULLEST):
            states = np.empty(2 * (self._filled + count) * self._width, np.uint64)
            states[: self._filled * self._width] = self._states[: self._filled * self._width]
            self._states = states
            self._table = np.zeros(int(2 * (self._filled + count) / FULLEST) + 1, np.uint32)
            kernels.enter_all(self._table, states, 0, self._filled, self._width)
        self._filled = int(
            kernels.enter_new(self._table, self._states, self._filled, rows, self._width)
        )

    def _must_be_written(self, began: float, levels: int) -> bool:
        """Whether a limit is met, or there is enough."""
        explorer = self._explorer
        bound = explorer.limits.states
        too_many = bound is not None and explorer.journal.states + self._filled > bound
        many = levels > LEVELS_AT_ONCE or self._filled > STATES_AT_ONCE or too_many
        return many or time.monotonic() - began > SECONDS_TO_LOSE or explorer.time_is_up

    def _write(self, first: int, ends: NDArray[np.int64], expander: Expander) -> None:
        """Write what was found, and a run with it."""
        explorer, width, runs = self._explorer, self._width, self._runs
        states = self._states[: self._filled * width]
        if ends.size:
            rows = distinct(states.copy(), width)
            homes = tasks.homes_of(rows, width, explorer.partitions)
            name = f"{RUNS}/{first:06}-beside-{explorer.run_name}"
            sections = split(rows, width, homes, len(runs))
            write_rows(explorer.folder / name, width, sections, durable=False)
            self._runs = tuple(
                self._with_run([*known, f"{name}:{number}"], number, first)
                for number, known in enumerate(runs)
            )
        if ends.size or expander.transitions:
            explorer.add_span(
                first, states, ends, expander.transitions, expander.failing(), self._runs
            )
            explorer.remove([], runs)

    def _with_run(self, runs: list[str], partition: int, level: int) -> tuple[str, ...]:
        explorer = self._explorer
        name = f"{partition:02}-{level:06}-{explorer.run_name}"
        return with_run(self._folder, runs, name, explorer.memory_of_each // 3)
