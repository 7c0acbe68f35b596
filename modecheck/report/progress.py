"""Progress on standard error: which phase a command is in, and how far it has come.

On a terminal one line is rewritten each second. Elsewhere, work that takes longer than a few
seconds prints a line now and then: a log must not be silent for minutes.
"""

from __future__ import annotations

import os
import resource
import shutil
import sys
import threading
import time
from contextlib import suppress
from typing import TextIO

from modecheck.engine.contract.phases import count, current
from modecheck.model.wording import short

BETWEEN_DISPLAYS = 1.0
"""Seconds between two displays on a terminal."""
PATIENCE = 5.0
"""Seconds after which work without a terminal prints its first line."""
BETWEEN_LINES = 10.0
"""Seconds between two such lines."""
NEVER = "never"
"""The value of `MODECHECK_PROGRESS` for no lines at all, in place of a number of seconds."""


class Progress:
    """Shows progress from a separate thread: a `Reporter` of explorations, and a `Watch` of
    phases.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._terminal = stream.isatty()
        self._began = time.monotonic()
        self._figures = ""
        self._width = 0
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        self._next = self._began + (BETWEEN_DISPLAYS if self._terminal else patience())

    def progress(self, *, states: int, transitions: int, frontier: int, depth: int) -> None:
        """Record how far the exploration has come."""
        count(states)
        rate = states / max(time.monotonic() - self._began, 1e-9)
        self._figures = (
            f"{short(states)} states, {short(transitions)} transitions, {short(rate)} states/s, "
            f"{short(frontier)} to expand, depth {depth}, {peak_memory() / 1024**2:,.0f} MiB"
        )

    def go_on(self) -> None:
        """Start showing progress."""
        self._over.clear()
        self._thread = threading.Thread(target=self._show_again_and_again, daemon=True)
        self._thread.start()

    def pause(self) -> None:
        """Stop showing progress, and end the thread."""
        self._over.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def close(self) -> None:
        """Clear the line of a terminal."""
        if self._width:
            self._rewrite("")

    def _show_again_and_again(self) -> None:
        while not self._over.wait(min(max(self._next - time.monotonic(), 0), 3600)):
            if time.monotonic() >= self._next:
                self._next += BETWEEN_DISPLAYS if self._terminal else BETWEEN_LINES
                # The reader may be gone; the work itself must not fail for that.
                with suppress(OSError, ValueError):
                    self._show()

    def _show(self) -> None:
        phase = current()
        counted = f"{phase.states:,} states" if phase.states else ""
        seconds = f"{time.monotonic() - self._began:,.0f} s"
        if self._terminal:
            figures = self._figures if counted else seconds
            shown = phase.note or f"{phase.name}: {figures}"
            self._rewrite(shown[: shutil.get_terminal_size().columns - 1])
        else:
            figures = ", ".join(filter(None, (phase.note or counted, seconds)))
            self._stream.write(f"{phase.name}: {figures}\n")
            self._stream.flush()

    def _rewrite(self, text: str) -> None:
        self._stream.write(f"\r{text.ljust(self._width)}\r{text}")
        self._stream.flush()
        self._width = len(text)


def patience() -> float:
    """Seconds until the first line without a terminal: `MODECHECK_PROGRESS`, if it is a number."""
    chosen = os.environ.get("MODECHECK_PROGRESS", "")
    if chosen == NEVER:
        return float("inf")
    try:
        return max(float(chosen), 0.0)
    except ValueError:
        return PATIENCE


def peak_memory() -> int:
    """The most memory that this process has held, in bytes."""
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used if sys.platform == "darwin" else used * 1024
