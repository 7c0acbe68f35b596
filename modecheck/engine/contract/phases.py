"""What is being done now, for a progress display: phases have names and may be nested.

A display is optional. Only phases of the main thread are recorded; other threads work for these.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol


@dataclass(slots=True)
class Phase:
    """A named part of the work; `states` is how many are known so far, or 0 if not counted. A
    `note` says more than figures that are the same for all kinds of work.
    """

    name: str
    states: int = 0
    note: str = ""


class Watch(Protocol):
    """A thread that shows phases from time to time."""

    def pause(self) -> None:
        """End the thread, so that the process can fork."""

    def go_on(self) -> None:
        """Start it again."""


_nested: list[Phase] = []
_watches: list[Watch] = []


@contextmanager
def phase(name: str) -> Iterator[None]:
    """Inside, this phase is current. Has no effect outside the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    mine = Phase(name)
    _nested.append(mine)
    try:
        yield
    finally:
        _nested.remove(mine)


def current() -> Phase:
    """All current phases as one: the outermost is named first, the number of states is that of the
    innermost phase that counts them, and the note that of the innermost one.
    """
    nested = tuple(_nested)
    states = next((one.states for one in reversed(nested) if one.states), 0)
    note = nested[-1].note if nested else ""
    return Phase(", ".join(one.name for one in nested) or "working", states, note)


def count(states: int) -> None:
    """Set how many states are known in the current phase of the main thread."""
    if _nested and threading.current_thread() is threading.main_thread():
        _nested[-1].states = states


def note(text: str) -> None:
    """Set how far the current phase of the main thread has come, in its own words."""
    if _nested and threading.current_thread() is threading.main_thread():
        _nested[-1].note = text


@contextmanager
def watched_by(watch: Watch) -> Iterator[None]:
    """Inside, a thread shows the phases; afterwards it is ended."""
    _watches.append(watch)
    watch.go_on()
    try:
        yield
    finally:
        watch.pause()
        _watches.remove(watch)


def have_none() -> None:
    """Forget all threads that show phases: in a forked process none of them exists."""
    _watches.clear()


def threads() -> int:
    """How many threads show phases."""
    return len(_watches)


@contextmanager
def unwatched() -> Iterator[None]:
    """Inside, none of these threads is alive, so that the process can fork."""
    for watch in _watches:
        watch.pause()
    try:
        yield
    finally:
        for watch in _watches:
            watch.go_on()
