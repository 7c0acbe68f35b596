"""Explore into a store, from where it was left: levels by one process in memory while they are
small and all fits, and then by tasks, partition by partition.
"""

from __future__ import annotations

import errno
import os
import pickle
import secrets
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from operator import itemgetter
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.contract.kept_files import FOR_OWNER_ALONE
from modecheck.engine.contract.memory import available_memory
from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.native.machine import CompiledProduct
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.store import small_levels, tasks
from modecheck.engine.store.checked_files import DamagedFileError
from modecheck.engine.store.expanding import Failures, expand, room_for
from modecheck.engine.store.folder_trust import StoreError
from modecheck.engine.store.journal import (
    OUTBOX,
    RUNS,
    STATES,
    Finished,
    Journal,
    file_of,
)
from modecheck.engine.store.merging import gather, merge
from modecheck.engine.store.packed_rows import distinct
from modecheck.engine.store.path_files import MOST_STATES, Means, PathFiles, path_files
from modecheck.engine.store.pool import Workers, WorkersLost, of_this_machine
from modecheck.engine.store.process_caches import forget_what_was_loaded
from modecheck.engine.store.row_files import write_levels
from modecheck.engine.store.store_progress import StoreProgress
from modecheck.product.ir import Product

MANY = 1 << 21
"""States of a level whose partitions are tasks of their own, so that each fits memory."""
LEADS_TO = 4
"""States that one leads to, as far as nobody else in its slice does: a guess."""
CODE = 120_000_000
"""Bytes that a process takes before it does anything."""
SHARE_OF_MEMORY = 0.25
"""How much of the memory that is left is used without a bound."""
BYTES_OF_A_STATE, BYTES_OF_A_TRANSITION = 80, 20
"""What a state, for each of its words, and a transition take in memory, searches included."""
LACK_OF_SPACE = "lack of disk space"
DAMAGE = "files that are damaged again and again"
MOST_DAMAGED = 5
"""How often files may be found damaged before somebody has to look at the disk."""


@dataclass(slots=True)
class StoreExplorer:
    """Explores one product into a folder. What is there already is gone on from."""

    product: Product
    folder: Path
    partitions: int
    threads: int
    limits: Limits
    reporter: Reporter
    journal: Journal = field(init=False)
    stopped_by: str = ""
    run_name: str = ""
    path_files: PathFiles | None = None
    _progress: StoreProgress = field(init=False)
    _workers: Workers | None = None

    def __post_init__(self) -> None:
        self.limits = self.limits.from_now()
        self._progress = StoreProgress(self.folder)
        self.folder.mkdir(mode=FOR_OWNER_ALONE, exist_ok=True)
        for name in (STATES, RUNS, OUTBOX):
            (self.folder / name).mkdir(exist_ok=True)
        self.journal = Journal(self.folder)
        handle, beside = tempfile.mkstemp(dir=self.folder, prefix=tasks.PRODUCT)
        with os.fdopen(handle, "wb") as file:
            file.write(pickle.dumps(self.product))
        os.replace(beside, self.folder / tasks.PRODUCT)
        forget_what_was_loaded()

    @property
    def complete(self) -> bool:
        """Whether every state has been expanded."""
        finished = self.journal.finished
        return bool(finished) and not finished[-1].sizes

    def run(self) -> None:
        """Go on until all is explored or a limit is met; `stopped_by` says which."""
        try:
            self._go_on()
        except KeyboardInterrupt:
            self.stopped_by = INTERRUPTION
            self.workers.close()
        except _TimeIsUpError:
            self.stopped_by = self.limits.reached_seconds
        except WorkersLost as error:
            self.stopped_by = error.reason
            self._work_here()
        except MemoryError:
            self.stopped_by = self.limits.reached_memory
        except OSError as error:
            if error.errno != errno.ENOSPC:
                raise
            self.stopped_by = LACK_OF_SPACE

    def _go_on(self) -> None:
        """Go on from what is whole; once more from there, where a file gets damaged meanwhile."""
        for damaged in range(1, MOST_DAMAGED + 1):
            self.run_name = secrets.token_hex(4)
            tasks.opened.cache_clear()
            self.journal.read()
            self._forget_the_damaged()
            self._clear_away()
            try:
                return self._go_on_from_whole()
            except DamagedFileError:
                if damaged == MOST_DAMAGED:
                    self.stopped_by = DAMAGE
        return None

    def _go_on_from_whole(self) -> None:
        if not self.journal.finished:
            self._begin()
        if not self.journal.finished[-1].runs:
            small_levels.InMemory(self).go_on()
        while not self.complete and not self.limit_met():
            last = self.journal.finished[-1]
            if last.sizes[-1] <= small_levels.FEW and last.runs:
                small_levels.BesideRuns(self, self.runs_of(last)).go_on()
            else:
                self._one_level()
        # Nobody finds a product with observers in memory again: its paths are asked here.
        if self.complete and (self.product.observers or not self.fits_memory):
            self._make_path_files()

    @property
    def fits_memory(self) -> bool:
        """Whether states and transitions would fit the memory that may be used, with what searches
        need beside them: then they are found there again sooner than looked up in files.
        """
        transitions = sum(record.transitions for record in self.journal.finished)
        width = self.machine.layout.words
        size = BYTES_OF_A_STATE * width * self.journal.states + BYTES_OF_A_TRANSITION * transitions
        return size < self.memory

    def _make_path_files(self) -> None:
        """Have the files for questions about paths."""
        if self.journal.states > MOST_STATES:
            self.stopped_by = "more states than can be numbered"
            return
        means = Means(
            lambda given: self._counted(given, lambda _: (0, 0)),
            self.workers.count,
            self.memory_of_each,
        )
        width = self.machine.layout.words
        self.path_files = path_files(self.folder, self.journal.finished, width, means)

    def _begin(self) -> None:
        machine = self.machine
        starts = [machine.layout.pack(state) for state in self.product.first_states]
        rows = np.array(starts, np.uint64).reshape(-1)
        width = machine.layout.words
        rows = distinct(rows, width)
        self.add_span(0, rows, np.array([rows.size // width]), 0, ())

    @property
    def machine(self) -> CompiledProduct:
        """The product as machine code."""
        return tasks.machine_of(str(self.folder))

    @property
    def memory(self) -> int:
        """Bytes that this process may use, as far as that is known beforehand."""
        return self.limits.memory or int(available_memory() * SHARE_OF_MEMORY)

    @property
    def memory_of_each(self) -> int:
        """Bytes that each task may use: all together no more than the bound."""
        whole = self.limits.memory or int(self.workers.memory * SHARE_OF_MEMORY)
        count = self.workers.count
        return max(whole - (count + 1) * CODE, whole // 4) // count

    def add_span(
        self,
        first: int,
        rows: Words,
        ends: NDArray[np.int64],
        transitions: int,
        failures: Failures,
        runs: tuple[tuple[str, ...], ...] = (),
    ) -> None:
        """Write some levels that are finished: states in any order, and how many there are at the
        end of each level. `rows` is overwritten.
        """
        name = f"{STATES}/{first:06}-span-{self.run_name}"
        if ends.size:
            write_levels(self.folder / name, self.machine.layout.words, rows, ends)
        sizes = tuple(np.diff(ends, prepend=0).tolist())
        places = tuple(f"{name}:{number}" for number in range(ends.size))
        self.journal.add(Finished(first, sizes, places, transitions, failures, runs, is_span=True))

    def limit_met(self) -> bool:
        """Whether a limit is met; `stopped_by` says which."""
        if self.limits.states is not None and self.journal.states > self.limits.states:
            self.stopped_by = self.limits.reached_states
        elif self.time_is_up:
            self.stopped_by = self.limits.reached_seconds
        return bool(self.stopped_by)

    @property
    def time_is_up(self) -> bool:
        """Whether it may not go on any longer."""
        return self.limits.time_is_up

    def tell(self, more: int = 0, transitions: int = 0, stage: str = "") -> None:
        """Report how far it has come; `more` states and transitions are not finished yet."""
        layers = self.journal.layers
        self._progress.tell(layers, more, stage, lambda: self.workers.count)
        self.reporter.progress(
            states=self.journal.states + more,
            transitions=self.journal.transitions + transitions,
            frontier=layers[-1],
            depth=len(layers) - 1,
        )

    def _one_level(self) -> None:
        """Expand and merge the last level by tasks."""
        last = self.journal.finished[-1]
        level, folder = last.end - 1, str(self.folder)
        runs, memory = self.runs_of(last), self.memory_of_each
        slices = self._slices(last.sizes[-1], memory)
        expanded = self._counted(
            [(expand, (folder, level, last, one, memory)) for one in slices],
            lambda one: (0, one.transitions),
        )
        outbox = sorted(name for one in expanded for name in one.outbox)
        groups = self._groups(last.sizes[-1])
        given = [(g, outbox, runs[g.begin : g.end], memory) for g in groups]
        merged = self._counted(
            [(merge, (folder, level + 1, *one)) for one in given],
            lambda one: (sum(one.counts), 0),
        )
        total = sum(sum(one.counts) for one in merged)
        self.journal.add(
            Finished(
                first=level + 1,
                sizes=(total,) if total else (),
                places=tuple(place for one in merged for place in one.places),
                transitions=sum(one.transitions for one in expanded),
                failures=joined([one.failures for one in expanded]),
                runs=tuple(known for one in merged for known in one.runs),
            )
        )
        self.remove(outbox, runs)
        self.tell(stage="merged")

    def _slices(self, states: int, memory: int) -> list[tasks.LevelSlice]:
        """The parts of a level: as many for each of those who work, so small that what they lead to
        may well fit memory.
        """
        workers = self.workers.count
        rows = LEADS_TO * states // room_for(memory, self.machine.layout.words)
        count = workers * (rows // workers + 1)
        return [
            tasks.LevelSlice(number, count, self.partitions, self.run_name)
            for number in range(count)
        ]

    def _groups(self, states: int) -> list[tasks.Group]:
        """Partitions of a level with so many states that are merged by one task."""
        count = self.partitions if states > MANY else self.workers.count
        return tasks.groups(self.partitions, count, self.run_name)

    def remove(self, outbox: list[str], runs: tuple[tuple[str, ...], ...]) -> None:
        """Remove what a level that is finished has used up: its outbox, and runs that were
        merged.
        """
        tasks.opened.cache_clear()
        before = {file_of(place) for some in runs for place in some}
        used_up = before - self.journal.finished[-1].run_files
        for name in (*outbox, *(name for name in used_up if name.startswith(f"{RUNS}/"))):
            (self.folder / name).unlink(missing_ok=True)

    def done(self, given: list[Any]) -> list[Any]:
        """The results of tasks, in their order; done here if all workers are lost."""
        try:
            results = list(self.workers.results(given))
        except WorkersLost:
            self._work_here()
            results = list(self.workers.results(given))
        except DamagedFileError as error:
            told = f"{error}; the same command does that level again"
            raise StoreError(self.folder, told) from error
        return [result for _, result in sorted(results, key=itemgetter(0))]

    def _counted(self, given: list[Any], count: Callable[[Any], tuple[int, int]]) -> list[Any]:
        """The same; progress is told as they come in, and all end where time is up."""
        results: dict[int, Any] = {}
        states = transitions = 0
        for number, result in self.workers.results(given):
            results[number] = result
            more, steps = count(result)
            states, transitions = states + more, transitions + steps
            function, _ = given[0]
            self.tell(states, transitions, f"{function.__name__} {len(results)}/{len(given)}")
            if self.time_is_up:
                raise _TimeIsUpError
        return [results[number] for number in range(len(given))]

    @property
    def workers(self) -> Workers:
        """Who does the tasks."""
        if self._workers is None:
            self._workers = of_this_machine(self.threads)
        return self._workers

    @workers.setter
    def workers(self, workers: Workers) -> None:
        self._workers = workers

    def _work_here(self) -> None:
        """Let processes of this machine do what is left."""
        self.workers.close()
        self._workers = of_this_machine(self.threads)

    def runs_of(self, record: Finished) -> tuple[tuple[str, ...], ...]:
        """The places of known states of each partition, made again if there are none or some file
        is damaged.
        """
        if record.runs and self._all_whole(record.run_files):
            return record.runs
        given = [
            (gather, (str(self.folder), self.journal.finished, group))
            for group in tasks.groups(self.partitions, self.workers.count, self.run_name)
        ]
        return tuple((place,) for places in self.done(given) for place in places)

    def _all_whole(self, files: set[str]) -> bool:
        try:
            for name in files:
                tasks.opened(f"{self.folder}/{name}")
        except DamagedFileError:
            return False
        return True

    def _forget_the_damaged(self) -> None:
        """Forget the first level that a damaged file belongs to and all behind it: they are done
        again.
        """
        for number, record in enumerate(self.journal.finished):
            if not self._all_whole(record.files):
                self.journal.forget_from(number)
                return

    def _clear_away(self) -> None:
        """Remove what is not needed any more, or was begun and not finished."""
        finished = self.journal.finished
        kept = {name for record in finished for name in record.files}
        kept |= finished[-1].run_files if finished else set()
        for room in (STATES, RUNS, OUTBOX):
            for path in (self.folder / room).iterdir():
                if f"{room}/{path.name}" not in kept:
                    path.unlink(missing_ok=True)  # renamed by a task of a run that is gone


BYTES_OF_A_STATE, BYTES_OF_A_TRANSITION = 80, 20
"""What a state, for each of its words, and a transition take in memory, searches included."""


class _TimeIsUpError(Exception):
    """A level was left in the middle because its time is up."""


def joined(parts: list[Failures]) -> Failures:
    """The failing steps of several parts of one level: of each failure how many, and the first."""
    found: dict[int, tuple[int, ...]] = {}
    for number, count, level, label, *words in (row for part in parts for row in part):
        known = found.get(number)
        first = (number, count, level, label, *words)
        if known is not None:
            total = known[1] + count
            best = min((known[2], known[4:], known[3]), (level, tuple(words), label))
            first = (number, total, best[0], best[2], *best[1])
        found[number] = first
    return tuple(found[number] for number in sorted(found))
