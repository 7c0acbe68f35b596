"""Check a device in a process of its own, while this one checks another one.

Most of a check is Python, of which one process runs on one core at a time. What comes back is what
is kept of a verdict: its figures, and no states.
"""

from __future__ import annotations

import os
import pickle
import threading
from collections.abc import Sequence
from dataclasses import replace

from modecheck.checks.kept_verdicts import slim
from modecheck.checks.verdict import Verdict, check
from modecheck.engine.choice import Search
from modecheck.model.parts import Device
from modecheck.product.composition import compose

WORTH_A_PROCESS = 24
"""Bits of a state from which on there may be so many states that it is worth it."""


class Elsewhere:
    """The verdict on a device in these variants, under way in another process."""

    def __init__(self, devices: Sequence[Device], search: Search) -> None:
        self._reading, writing = os.pipe()
        self._process = os.fork()
        if self._process == 0:
            os.close(self._reading)
            _work(devices, search, writing)
        os.close(writing)

    def verdict(self) -> Verdict | None:
        """The verdict once it is there; None where that process could not tell it."""
        with os.fdopen(self._reading, "rb") as pipe:
            raw = pipe.read()
        os.waitpid(self._process, 0)
        # Our own process has written it.
        return pickle.loads(raw) if raw else None  # noqa: S301


def begun_elsewhere(devices: Sequence[Device], search: Search) -> Elsewhere | None:
    """A check that has begun in another process, where that can be done and is worth it. It takes
    half of the cores; the other half is for what is done meanwhile.
    """
    threads = search.threads or os.cpu_count() or 1
    # A copy of a process in which others are at work might wait for them for ever.
    possible = (
        hasattr(os, "fork") and threading.active_count() == 1 and search.limits.memory is None
    )
    if threads < 2 or not possible:
        return None
    if all(compose(device).bits < WORTH_A_PROCESS for device in devices):
        return None
    return Elsewhere(devices, replace(search, threads=threads // 2))


def _work(devices: Sequence[Device], search: Search, writing: int) -> None:
    """What the other process does; it ends here, and touches nothing that it shares."""
    code = 1
    try:
        raw = pickle.dumps(slim(check(devices, search=search)))
        with os.fdopen(writing, "wb") as pipe:
            pipe.write(raw)
        code = 0
    finally:
        os._exit(code)
