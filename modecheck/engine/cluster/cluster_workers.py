"""Who does the tasks of a store when a Dask cluster does."""

from __future__ import annotations

import itertools
import secrets
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, TypeVar

from modecheck.engine.cluster import parcels
from modecheck.engine.cluster.agreement import UNUSABLE, examine
from modecheck.engine.cluster.connection import (
    Cluster,
    ClusterError,
    RemoteCall,
    SchedulerLost,
    TaskKillsWorkers,
)
from modecheck.engine.cluster.errands import UnlikeClientError, do_task, text_digest
from modecheck.engine.contract.memory import available_memory
from modecheck.engine.store.pool import Task, WorkersLost

R = TypeVar("R")

IN_FLIGHT = 256
"""Tasks that are given out at a time: more would only wait at the scheduler."""
COUNT_EVERY = 1.0
"""Seconds after which workers are counted again: the scheduler is asked for that."""
LOOK_EVERY = 2.0
"""Seconds after which it is looked whether anybody is still there."""
PATIENCE = 60.0
"""Seconds for which a cluster may be without any worker."""
NO_SCHEDULER = "the loss of the scheduler"


@dataclass(frozen=True, slots=True)
class _Given:
    """A task that was given out: its number, and the parcel with what it is."""

    number: int
    sent: parcels.Parcel


class ClusterWorkers:
    """Does tasks on a cluster. A worker that is lost costs what it was doing, which another does
    again; one that comes later gets tasks, if it runs the same code.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        self._cluster: Cluster | None = Cluster(address)
        self._run = secrets.token_hex(8)
        self._numbers = itertools.count()
        self._folder = Path()
        self._count = 1
        self._counted = 0.0
        self._memory = 0

    @property
    def count(self) -> int:
        """Threads of all workers now, or when that was known last."""
        now = time.monotonic()
        if now > self._counted + COUNT_EVERY:
            self._counted = now
            with suppress(ClusterError, WorkersLost):
                threads = sum(one.threads for one in self._connected().workers())
                self._count = threads or self._count
        return self._count

    @property
    def memory(self) -> int:
        return (self._memory or available_memory()) * self._count

    def need_ready(self, folder: Path) -> None:
        """Raise `ClusterError` where some worker cannot work in a folder, or is not like us."""
        self._folder = folder
        report = examine(self._connected(), folder, clocks=False)
        for one in report.of(UNUSABLE):
            raise ClusterError(self._address, f"{one.subject}: {one.told}")
        self._memory, self._count = report.memory, max(report.threads, 1)
        parcels.make_room(folder)

    def results(self, tasks: Sequence[Task[R]]) -> Iterator[tuple[int, R]]:
        cluster = self._connected()
        waiting = iter(enumerate(tasks))
        done: SimpleQueue[RemoteCall] = SimpleQueue()
        given: dict[RemoteCall, _Given] = {}

        def give(most: int) -> None:
            for number, task in itertools.islice(waiting, most):
                sent = parcels.packed(self._folder, task)
                call = self._call(cluster, task, sent, done)
                given[call] = _Given(number, sent)

        try:
            give(IN_FLIGHT)
            while given:
                call = self._next(cluster, done)
                result = self._outcome(call)
                one = given.pop(call)
                parcels.removed(self._folder, one.sent)
                give(1)
                yield one.number, result
        finally:
            cluster.cancel(list(given))

    def _call(
        self, cluster: Cluster, task: Task[Any], sent: parcels.Parcel, done: SimpleQueue[RemoteCall]
    ) -> RemoteCall:
        function, _ = task
        name = f"{function.__name__}-{self._run}-{next(self._numbers)}"
        folder = str(self._folder)
        return cluster.call(name, done.put, do_task, folder, self._run, text_digest(), sent)

    def _next(self, cluster: Cluster, done: SimpleQueue[RemoteCall]) -> RemoteCall:
        """The next task that is done, or failed."""
        seen = time.monotonic()
        while True:
            try:
                return done.get(timeout=LOOK_EVERY)
            except Empty:
                pass
            try:
                if cluster.workers():
                    seen = time.monotonic()
            except ClusterError as error:
                raise WorkersLost(NO_SCHEDULER) from error
            if time.monotonic() - seen > PATIENCE:
                raise WorkersLost("the loss of all workers")

    def _outcome(self, call: RemoteCall) -> Any:
        """The result of a task. Raises what the task raised."""
        try:
            parcel = call.outcome()
        except SchedulerLost as error:
            raise WorkersLost(NO_SCHEDULER) from error
        except TaskKillsWorkers as error:
            reason = "the loss of several workers by the same task, perhaps for lack of memory"
            raise WorkersLost(reason) from error
        except UnlikeClientError as error:
            raise WorkersLost(f"a worker that runs other code ({error})") from error
        result = parcels.unpacked(self._folder, parcel)
        parcels.removed(self._folder, parcel)
        return result

    def _connected(self) -> Cluster:
        """The connection, made again after it was closed."""
        if self._cluster is None or self._cluster.is_lost:
            try:
                self._cluster = Cluster(self._address)
            except ClusterError as error:
                raise WorkersLost(NO_SCHEDULER) from error
        return self._cluster

    def close(self) -> None:
        if self._cluster is not None:
            self._cluster.close()
            self._cluster = None
