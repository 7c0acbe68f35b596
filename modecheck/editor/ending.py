"""Processes that end with another one, however that ends: a check with its server, the server with
its editor.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable

BETWEEN = 1.0
"""Seconds from one look at the other process to the next."""


def end_with_parent(parent: int) -> None:
    """End this process soon after the one that has started it."""
    _end_when(lambda: os.getppid() != parent)


def end_with(process: int) -> None:
    """End this process soon after another one; never, if that one cannot be seen from here, as out
    of a container.
    """
    if _is_running(process):
        _end_when(lambda: not _is_running(process))


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except PermissionError:
        return True
    except (OSError, OverflowError):
        return False
    return True


def _end_when(is_over: Callable[[], bool]) -> None:
    def watch() -> None:
        while not is_over():
            time.sleep(BETWEEN)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
