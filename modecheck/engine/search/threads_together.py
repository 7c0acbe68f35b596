"""Do several things at the same time, one of them in the thread that asks for it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence


def do_together(tasks: Sequence[Callable[[], None]], halt: Callable[[], None]) -> None:
    """Do tasks at the same time, the first one here, and return when all have ended.

    When one raises something, as this thread does when it is interrupted, `halt` is called, by
    which the others end early; it is raised here when they have.
    """
    troubles: list[BaseException] = []

    def guarded(task: Callable[[], None]) -> None:
        try:
            task()
        except BaseException as trouble:
            troubles.append(trouble)
            halt()

    helpers = [threading.Thread(target=guarded, args=(one,), daemon=True) for one in tasks[1:]]
    try:
        for helper in helpers:
            helper.start()
        tasks[0]()
        for helper in helpers:
            helper.join()
    except BaseException:
        halt()
        raise
    finally:
        for helper in helpers:
            if helper.ident is not None:
                helper.join()
    if troubles:
        raise troubles[0]
