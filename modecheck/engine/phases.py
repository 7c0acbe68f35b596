"""What is being done now, for whoever shows it: phases have names and lie in one another.

Nobody has to listen. Only what the main thread does is told; what other threads do is a part of it.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol


@dataclass(slots=True)
class Phase:
    """`states` is how many are known in it so far, where somebody counts them."""

    name: str
    states: int = 0


class Watch(Protocol):
    """A thread that shows phases from time to time."""

    def pause(self) -> None:
        """End the thread: a process is copied."""

    def go_on(self) -> None:
        """Begin it again."""


_lying: list[Phase] = []
_watches: list[Watch] = []


@contextmanager
def phase(name: str) -> Iterator[None]:
    """Inside, this is what is being done."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    mine = Phase(name)
    _lying.append(mine)
    try:
        yield
    finally:
        _lying.remove(mine)


def current() -> Phase:
    """All phases that last, as one: the outermost is named first, and the states are those that
    were counted last.
    """
    lying = tuple(_lying)
    states = next((one.states for one in reversed(lying) if one.states), 0)
    return Phase(", ".join(one.name for one in lying) or "working", states)


def count(states: int) -> None:
    """So many states are known in the phase of the main thread."""
    if _lying and threading.current_thread() is threading.main_thread():
        _lying[-1].states = states


@contextmanager
def watched_by(watch: Watch) -> Iterator[None]:
    """Inside, a thread shows the phases."""
    _watches.append(watch)
    watch.go_on()
    try:
        yield
    finally:
        watch.pause()
        _watches.remove(watch)


def have_none() -> None:
    """In a copy of the process none of these threads is there."""
    _watches.clear()


def threads() -> int:
    """How many threads show phases."""
    return len(_watches)


@contextmanager
def unwatched() -> Iterator[None]:
    """Inside, none of these threads is alive, so that the process can be copied."""
    for watch in _watches:
        watch.pause()
    try:
        yield
    finally:
        for watch in _watches:
            watch.go_on()
