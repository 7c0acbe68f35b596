"""Who does the tasks of a store: this process, or several on the same machine.

A task is a function of a module, called with texts and numbers. What a lost process was doing is
done again by another.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import weakref
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any, Protocol, TypeVar

from modecheck.engine.contract.memory import available_memory

R = TypeVar("R")
Task = tuple[Callable[..., R], tuple[Any, ...]]

MOST_LOST = 5
"""How often in a row processes may be lost before somebody has to look at it."""


class WorkersLost(Exception):
    """Nobody is there any more to do the tasks, or nobody survives them."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class Workers(Protocol):
    """Does tasks."""

    @property
    def count(self) -> int:
        """How many tasks can be done at the same time now."""

    @property
    def memory(self) -> int:
        """Bytes that all of them together can still have now."""

    def need_ready(self, folder: Path) -> None:
        """Raise `StoreError` where somebody cannot work in the folder of a store."""

    def results(self, tasks: Sequence[Task[R]]) -> Iterator[tuple[int, R]]:
        """The number and the result of each task, in the order in which they are done. Raises
        `WorkersLost`.
        """

    def close(self) -> None:
        """Let go of whoever works."""


class _OfThisMachine:
    """Who works beside the process that gives out the tasks."""

    @property
    def memory(self) -> int:
        return available_memory()

    def need_ready(self, folder: Path) -> None:
        pass


class Alone(_OfThisMachine):
    """Does tasks one after the other in this process."""

    count = 1

    def results(self, tasks: Sequence[Task[R]]) -> Iterator[tuple[int, R]]:
        for number, (function, arguments) in enumerate(tasks):
            yield number, function(*arguments)

    def close(self) -> None:
        pass


class Processes(_OfThisMachine):
    """Does tasks in several processes, which are started anew when one is lost."""

    def __init__(self, count: int) -> None:
        self.count = count
        self._lost = 0
        self._pool: ProcessPoolExecutor | None = None

    def results(self, tasks: Sequence[Task[R]]) -> Iterator[tuple[int, R]]:
        left = dict(enumerate(tasks))
        while left:
            try:
                for number, result in self._done(left):
                    del left[number]
                    self._lost = 0
                    yield number, result
            except BrokenProcessPool as error:
                self.close()
                self._lost += 1
                if self._lost >= MOST_LOST:
                    raise WorkersLost("the loss of its processes, again and again") from error

    def _done(self, tasks: dict[int, Task[R]]) -> Iterator[tuple[int, R]]:
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(self.count, context, _begin_to_work)
            # One that is merely dropped may be ending just when Python ends, which fails.
            weakref.finalize(self, self._pool.shutdown, wait=True, cancel_futures=True)
        futures = {
            self._pool.submit(function, *arguments): number
            for number, (function, arguments) in tasks.items()
        }
        waiting = set(futures)
        try:
            while waiting:
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in done:
                    yield futures[future], future.result()
        finally:
            for future in waiting:
                future.cancel()

    def close(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None


def of_this_machine(threads: int) -> Workers:
    """So many processes, or this one alone."""
    return Processes(threads) if threads > 1 else Alone()


def _begin_to_work() -> None:
    """Ctrl-C is a matter of the process that gives out the tasks; when that is gone, nobody waits
    for what this one does.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
