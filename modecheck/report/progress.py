"""Progress on a terminal: states, rate, frontier, depth and memory, once a second."""

from __future__ import annotations

import resource
import sys
import time
from typing import TextIO

BETWEEN_LINES = 1.0
"""Seconds between two displays."""


class TerminalProgress:
    """Rewrites one line of a terminal; `close` clears it."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._began = self._shown = time.monotonic()
        self._width = 0

    def progress(self, *, states: int, transitions: int, frontier: int, depth: int) -> None:
        """Show where the exploration is, unless that was done less than a second ago."""
        now = time.monotonic()
        if now - self._shown < BETWEEN_LINES:
            return
        self._shown = now
        rate = states / (now - self._began)
        memory = peak_memory() / 1024**2
        self._write(
            f"{states:,} states, {transitions:,} transitions, {rate:,.0f} states/s, "
            f"{frontier:,} to expand, depth {depth}, {memory:,.0f} MiB"
        )

    def close(self) -> None:
        self._write("")

    def _write(self, text: str) -> None:
        if text or self._width:
            self._stream.write(f"\r{text.ljust(self._width)}\r{text}")
            self._stream.flush()
        self._width = len(text)


def peak_memory() -> int:
    """The most memory that this process has held, in bytes."""
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used if sys.platform == "darwin" else used * 1024
