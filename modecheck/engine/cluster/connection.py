"""A Dask cluster: reached within a bound of time, with errors that say what is wrong.

ADDRESS is what Dask takes: `tcp://host:port`, or the name of a file that the scheduler wrote.
"""

from __future__ import annotations

import json
import logging
import os
import threading
import time
import weakref
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any, TypeVar

from modecheck.model.errors import ModecheckError

R = TypeVar("R")

EXTRA = "dask.distributed is not installed (pip install 'modecheck[cluster]')"
SECONDS_TO_CONNECT = 10.0
SECONDS_FOR_A_WORKER = 10.0
"""How long a scheduler, and the first worker, may take to be there."""
SECONDS_TO_ANSWER = 30.0
"""How long a worker may take to answer a question that takes no time."""
RETRIES = 2
"""How often Dask does a task again that failed, perhaps because of the disk or the network."""


class ClusterError(ModecheckError):
    """A cluster cannot be used."""

    def __init__(self, address: str, reason: str) -> None:
        super().__init__()
        self.address = address
        self.reason = reason

    def __str__(self) -> str:
        return f"the cluster {self.address!r} cannot be used: {self.reason}"


@dataclass(frozen=True, slots=True)
class ConnectedWorker:
    """A worker that the scheduler knows: how many threads it has, and bytes of memory that it may
    use, or 0 if nothing bounds it.
    """

    address: str
    threads: int
    memory: int

    @property
    def name(self) -> str:
        """How it is called where people read it."""
        return self.address.partition("://")[2] or self.address


class SchedulerLost(Exception):
    """The scheduler was there, and is not any more."""


class TaskKillsWorkers(Exception):
    """Several workers were lost while they did the same task."""


@dataclass(frozen=True, slots=True)
class RemoteCall:
    """A function that some worker calls."""

    name: str
    future: Any

    def outcome(self) -> Any:
        """What it returned, or raises what it raised; `SchedulerLost`, `TaskKillsWorkers`."""
        from distributed.scheduler import KilledWorker

        if self.future.status not in ("finished", "error"):
            raise SchedulerLost
        if self.future.status == "error":
            error = self.future.exception()
            if isinstance(error, KilledWorker):
                raise TaskKillsWorkers from error
            raise error
        try:
            return self.future.result()
        except Exception as error:
            raise SchedulerLost from error


class Cluster:
    """A connection to a scheduler. Raises `ClusterError` wherever nobody answers in time."""

    def __init__(self, address: str) -> None:
        self.given = address
        if find_spec("distributed") is None:
            raise ClusterError(address, EXTRA)
        self._client = self._connected(scheduler_address(address))
        # Not later than at the end of the process, or when nobody knows of it any more.
        self._leave = weakref.finalize(self, _close, self._client)

    def _connected(self, address: str) -> Any:
        from distributed import Client

        # What it logs when a connection ends is said by us, in a sentence.
        for name in ("distributed", *logging.root.manager.loggerDict):
            if name.partition(".")[0] == "distributed":
                logging.getLogger(name).setLevel(logging.CRITICAL)
        try:
            client: Any = Client
            return client(address, timeout=SECONDS_TO_CONNECT, set_as_default=False)
        except OSError as error:
            reason = f"no scheduler answers within {SECONDS_TO_CONNECT:g} s"
            raise ClusterError(self.given, reason) from error
        except Exception as error:  # whatever Dask says of an address that is none
            raise ClusterError(self.given, _sentence(error)) from error

    @property
    def is_lost(self) -> bool:
        """Whether the scheduler is gone."""
        return bool(self._client.status != "running")

    def workers(self) -> list[ConnectedWorker]:
        """The workers that are there now."""
        asked = self._client.scheduler_info
        found: dict[str, Any] = self._bounded(lambda: asked(n_workers=-1)["workers"])
        return [
            ConnectedWorker(address, one["nthreads"], one["memory_limit"] or 0)
            for address, one in sorted(found.items())
        ]

    def first_workers(self) -> list[ConnectedWorker]:
        """The same, after waiting for the first one."""
        end = time.monotonic() + SECONDS_FOR_A_WORKER
        while not (found := self.workers()):
            if time.monotonic() > end:
                raise ClusterError(
                    self.given, f"no worker is there within {SECONDS_FOR_A_WORKER:g} s"
                )
            time.sleep(0.1)
        return found

    def versions(self, packages: Sequence[str]) -> dict[str, dict[str, str | None]]:
        """The versions of some packages, and of Python, by where they are: `the scheduler`, `the
        client`, or the address of a worker. None is a package that is missing.
        """
        found: Any = self._bounded(lambda: self._client.get_versions(packages=list(packages)))
        own = {f"the {one}": found[one] for one in ("scheduler", "client")}
        places = {**own, **found["workers"]}
        return {
            place: {name: one["packages"].get(name) for name in ("python", *packages)}
            for place, one in places.items()
        }

    def on_each(self, function: Callable[..., R], *arguments: Any) -> dict[str, R | Exception]:
        """What a function says on each worker, at once and beside its tasks."""
        run = self._client.run
        found: dict[str, R | Exception] = self._bounded(
            lambda: run(function, *arguments, on_error="return")
        )
        return found

    def on_scheduler(self, function: Callable[..., Any], *arguments: Any) -> str:
        """Why the scheduler cannot call a function, or nothing."""
        try:
            run = self._client.run_on_scheduler
            self._bounded(lambda: run(function, *arguments))
        except ClusterError as error:
            return error.reason
        return ""

    def call(
        self,
        name: str,
        done: Callable[[RemoteCall], None],
        function: Callable[..., Any],
        *arguments: Any,
    ) -> RemoteCall:
        """Let some worker call a function; `name` is another one for each call. `done` is called in
        some thread when its outcome is there.
        """
        future = self._client.submit(function, *arguments, key=name, pure=False, retries=RETRIES)
        made = RemoteCall(name, future)
        future.add_done_callback(lambda _: done(made))
        return made

    def cancel(self, calls: Sequence[RemoteCall]) -> None:
        """Take back what is not begun yet. What is under way ends by itself."""
        if calls and not self.is_lost:
            with suppress(Exception):  # the scheduler may be lost just now
                self._client.cancel([one.future for one in calls], force=True)

    def close(self) -> None:
        """Leave; tasks of this connection are forgotten by the scheduler."""
        self._leave()

    def _bounded(self, ask: Callable[[], R]) -> R:
        """What asking returns, unless it takes too long: a worker may be there and never answer."""
        found: list[R] = []
        errors: list[BaseException] = []

        def run() -> None:
            try:
                found.append(ask())
            except BaseException as error:
                errors.append(error)

        thread = threading.Thread(target=run, daemon=True)
        thread.start()
        thread.join(SECONDS_TO_ANSWER)
        if found:
            return found[0]
        if errors and not isinstance(errors[0], OSError):
            raise ClusterError(self.given, _sentence(errors[0])) from errors[0]
        who = "the scheduler does not answer" if errors else "not all workers answer"
        raise ClusterError(self.given, f"{who} within {SECONDS_TO_ANSWER:g} s")


def _close(client: Any) -> None:
    with suppress(Exception):  # nothing can be lost any more
        client.close(timeout=2)


def scheduler_address(given: str) -> str:
    """The address itself, or the one in the scheduler's file."""
    if not os.path.exists(given) and not given.endswith(".json"):
        return given
    try:
        with open(given, encoding="utf-8") as file:
            found = json.load(file)
    except OSError as error:
        raise ClusterError(given, (error.strerror or str(error)).lower()) from error
    except ValueError as error:
        raise ClusterError(given, "the file is not one that a scheduler wrote") from error
    address = found.get("address") if isinstance(found, dict) else None
    if not isinstance(address, str):
        raise ClusterError(given, "the file is not one that a scheduler wrote")
    return address


def _sentence(trouble: BaseException) -> str:
    return " ".join(str(trouble).split()) or type(trouble).__name__
