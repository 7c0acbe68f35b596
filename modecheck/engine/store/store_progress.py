"""How far exploring into a store has come, in a line: what is known, and no share of the rest."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from modecheck.engine.contract.phases import note
from modecheck.engine.store.journal import OUTBOX, RUNS, STATES
from modecheck.model.wording import counted, short

BETWEEN_LINES = 0.5
"""Seconds between two lines; asking for what is in them takes time."""
SHARE_FOR_SIZES = 0.02
"""Share of the time in which files are listed: of a folder far away that may be slow."""
STEADY = 0.05
"""By how much a level may differ from the one before and count as the same."""
LEVELS_OF_A_TREND = 3
"""So many ratios of levels say whether they go on shrinking."""


@dataclass(slots=True)
class StoreProgress:
    """Tells how far exploring into a folder has come. The rate is that of this run alone."""

    folder: Path
    _began: float = field(default_factory=time.monotonic)
    _known: int | None = None
    _next: float = 0.0
    _sized: float = 0.0
    _bytes: int = 0

    def tell(
        self, layers: Sequence[int], more: int, stage: str, workers: Callable[[], int]
    ) -> None:
        """Tell of the finished levels, of `more` states that are new since then, and what is being
        done by how many workers; no stage means that this process explores levels alone.
        """
        states, now = sum(layers) + more, time.monotonic()
        if self._known is None:
            self._known = states
        if now < self._next:
            return
        rate = (states - self._known) / max(now - self._began, 1e-9)
        found = f"{short(states)} states, {short(rate)}/s"
        if stage:
            parts = (
                f"level {len(layers)}, {found}, {self._size() / 1e6:,.0f} MB",
                f"{stage}, {counted(workers(), 'worker')}, {trend(layers)}",
            )
            note(", ".join(parts))
        else:
            note(f"{found}, small levels in memory")
        self._next = time.monotonic() + BETWEEN_LINES

    def _size(self) -> int:
        """Bytes of all files, as they were a short while ago."""
        began = time.monotonic()
        if began >= self._sized:
            self._bytes = sum(map(_bytes_in, (self.folder / one for one in (STATES, RUNS, OUTBOX))))
            ended = time.monotonic()
            self._sized = ended + (ended - began) / SHARE_FOR_SIZES
        return self._bytes


def trend(layers: Sequence[int]) -> str:
    """Whether levels grow or shrink, and, where they have shrunk for a while, how many states are
    still to come if they go on so: nobody knows whether they do.
    """
    ratios = [after / before for before, after in pairwise(layers[-LEVELS_OF_A_TREND - 1 :])]
    if not ratios:
        return "beginning"
    last = ratios[-1]
    if last > 1 + STEADY:
        return f"growing ×{last:.1f}"
    if last > 1 - STEADY:
        return "steady"
    worst = max(ratios)
    if len(ratios) < LEVELS_OF_A_TREND or worst > 1 - STEADY:
        return f"shrinking ×{last:.1f}"
    left = layers[-1] * worst / (1 - worst)
    return f"shrinking ×{last:.1f} (if it goes on so, {short(left)} more)"


def _bytes_in(room: Path) -> int:
    size = 0
    with suppress(FileNotFoundError), os.scandir(room) as entries:
        for entry in entries:
            with suppress(FileNotFoundError):  # a worker has just renamed it
                size += entry.stat().st_size
    return size
