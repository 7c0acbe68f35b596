"""Candidates tried in parallel: one process for each core, each with a copy of what is known.

A process that fails takes its candidate with it, which then counts as not tried.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Any, Generic, TypeVar

from modecheck.engine.contract.kept_files import look_at_folders
from modecheck.engine.contract.phases import have_none, phase, unwatched

PATIENCE = 0.5
"""Seconds between two looks at the time."""
MOST_WORKERS = 64

J = TypeVar("J")
R = TypeVar("R")


class TrialWorkers(AbstractContextManager["TrialWorkers[J, R]"], Generic[J, R]):
    """Processes that call the function `work` with candidates, until `deadline` (monotonic)."""

    def __init__(self, work: Callable[[J], R], count: int, deadline: float | None) -> None:
        self._work, self._deadline = work, deadline
        self._processes: dict[Connection, BaseProcess] = {}
        self.tried = 0
        self.broken = 0
        if count > 1 and hasattr(os, "fork"):
            self._fork(min(count, MOST_WORKERS))

    def _fork(self, count: int) -> None:
        look_at_folders()
        context = multiprocessing.get_context("fork")
        with unwatched():
            for _ in range(count):
                ours, theirs = context.Pipe()
                known = (*self._processes, ours)
                process = context.Process(
                    target=_serve, args=(self._work, theirs, known), daemon=True
                )
                process.start()
                theirs.close()
                self._processes[ours] = process

    @property
    def time_is_up(self) -> bool:
        return self._deadline is not None and time.monotonic() > self._deadline

    def tried_out(self, candidates: Iterator[J], what: str) -> Iterator[R]:
        """The trials of these candidates as they are completed, as many as there is time for."""
        if not self._processes:
            for candidate in candidates:
                if self.time_is_up:
                    return
                with phase(f"{what}, {self.tried:,} tried"):
                    trial = self._work(candidate)
                self.tried += 1
                yield trial
            return
        yield from self._in_parallel(candidates, what)

    def _in_parallel(self, candidates: Iterator[J], what: str) -> Iterator[R]:
        busy: set[Connection] = set()
        for connection in list(self._processes):
            self._give(connection, candidates, busy)
        while busy and not self.time_is_up:
            with phase(f"{what}, {self.tried:,} tried"):
                ready = wait(list(busy), PATIENCE)
            for connection in [one for one in busy if one in ready]:
                busy.discard(connection)
                trial = self._take(connection)
                if trial is None:
                    continue
                self.tried += 1
                yield trial
                self._give(connection, candidates, busy)
        if busy:
            self._end()

    def _give(self, connection: Connection, candidates: Iterator[J], busy: set[Connection]) -> None:
        candidate = next(candidates, None)
        if candidate is not None:
            connection.send(candidate)
            busy.add(connection)

    def _take(self, connection: Connection) -> R | None:
        try:
            trial: R = connection.recv()
        except (EOFError, ConnectionError):
            self.broken += 1
            self._processes.pop(connection).join()
            return None
        return trial

    def _end(self) -> None:
        for connection, process in self._processes.items():
            connection.close()
            process.terminate()
        for process in self._processes.values():
            process.join()
        self._processes = {}

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._end()


def _serve(
    work: Callable[[Any], object], connection: Connection, others: Iterable[Connection]
) -> None:
    """What a process does: try what it is given, until nobody asks any more. `others` are the ends
    of those who ask, of which it has a copy: as long as it is open, the process would wait for
    candidates after all who ask were killed.
    """
    for one in others:
        one.close()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    have_none()
    while True:
        try:
            candidate = connection.recv()
            connection.send(work(candidate))
        except (EOFError, ConnectionError):
            return
