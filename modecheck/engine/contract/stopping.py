"""What stops an exploration early, and what is then said: a bound, an interruption, full memory."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from modecheck.engine.contract.memory import resident_memory
from modecheck.engine.contract.space import INTERRUPTION, Limits


class LimitReached(Exception):
    """Carries what is said of the limit."""


class Stoppable(Protocol):
    """What an exploration leaves behind; `stopped_by` says why it ended early, if it did."""

    stopped_by: str


@contextmanager
def noting_stops(found: Stoppable) -> Iterator[None]:
    """Whatever stops the exploration inside is noted, and ends it."""
    try:
        yield
    except LimitReached as reached:
        found.stopped_by = str(reached)
    except KeyboardInterrupt:
        found.stopped_by = INTERRUPTION
    except MemoryError:
        found.stopped_by = Limits().reached_memory


class LimitWatch:
    """Looks from time to time whether a bound of time or of memory is reached."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._began = time.monotonic() if limits.since is None else limits.since

    def look(self) -> None:
        """Raises `LimitReached`."""
        limits = self._limits
        if limits.seconds is not None and time.monotonic() - self._began > limits.seconds:
            raise LimitReached(limits.reached_seconds)
        if limits.memory is not None and resident_memory() > limits.memory:
            raise LimitReached(limits.reached_memory)
