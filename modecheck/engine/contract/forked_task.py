"""Work in a process of its own, while this one does something else.

Much of what we do is Python, of which one process runs on one core at a time.
"""

from __future__ import annotations

import os
import pickle
import threading
from collections.abc import Callable
from typing import Generic, NoReturn, TypeVar, cast

from modecheck.engine.contract.kept_files import look_at_folders
from modecheck.engine.contract.phases import have_none, phase, unwatched
from modecheck.engine.contract.phases import threads as threads_that_show
from modecheck.engine.contract.space import Limits

T = TypeVar("T")


class ForkedTask(Generic[T]):
    """What is under way in another process, which knows all that this one knew when it began. It
    must not write anywhere, and what comes of it is copied.
    """

    def __init__(self, work: Callable[[], T]) -> None:
        look_at_folders()
        self._reading, writing = os.pipe()
        with unwatched():
            self._process = os.fork()
            if self._process == 0:
                os.close(self._reading)
                _do(work, writing)
        os.close(writing)

    def result(self) -> T | None:
        """What came of it, once it is there; None where that process failed."""
        with phase("waiting for what another process does"):
            with os.fdopen(self._reading, "rb") as pipe:
                raw = pipe.read()
            os.waitpid(self._process, 0)
        # Our own process has written it.
        return cast("T", pickle.loads(raw)) if raw else None  # noqa: S301


_whole: list[bool] = []


def make_no_copies() -> None:
    """From now on this process is not copied: it holds something that a copy could not use, such as
    a GPU.
    """
    _whole.append(True)


def can_begin(threads: int | None, limits: Limits) -> bool:
    """Whether another process can be had, and there is a core and memory for it."""
    # A copy of a process in which others are at work might wait for them for ever.
    alone = threading.active_count() == 1 + threads_that_show()
    possible = hasattr(os, "fork") and alone and not _whole
    return possible and (threads or os.cpu_count() or 1) > 1 and limits.memory is None


def _do(work: Callable[[], object], writing: int) -> NoReturn:
    """What the other process does; it ends here, and touches nothing that it shares."""
    code = 1
    have_none()
    try:
        raw = pickle.dumps(work())
        with os.fdopen(writing, "wb") as pipe:
            pipe.write(raw)
        code = 0
    finally:
        os._exit(code)
