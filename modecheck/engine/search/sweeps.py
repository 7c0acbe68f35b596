"""Fixpoints over all states of a graph, by sweeps that look only at the transitions of a state.

What is asked of a state, such as what a path from it leads to, follows from the same of the states
behind its transitions. A sweep computes it of one state after the other, downwards and upwards in
turn, until nothing changes. States are numbered by depth, so most of it is known after two sweeps,
and later ones look only at parts in which something is open. Transitions need not be transposed,
which takes longer than such a search and as much memory as the graph, and threads can share the
states: whatever a value was when it was read, the fixpoint is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from threading import Event
from typing import Any, TypeVar

from modecheck.engine.language.kernel import Kernel
from modecheck.engine.search.threads_together import do_together

T = TypeVar("T")

PART = 1 << 16
"""States that a thread takes at a time: some hundredths of a second at the most."""


def settle(update: Kernel, count: int, threads: int, *arguments: Any) -> int:
    """Apply an update to all states until nothing changes; how many are open then.

    `update(begin, end, descending, *arguments)` looks at the states from `begin` to `end` in that
    order. It tells how many it has changed, and how many may still change.
    """
    parts, descending, left = _parts(count), True, 0
    changed = 1
    while parts and changed:
        open_, counts = [], []

        def sweep(part: tuple[int, int], way: bool = descending) -> None:
            new, rest = update(*part, way, *arguments)
            counts.append((new, rest))  # noqa: B023 - done before the next sweep begins
            if rest:
                open_.append(part)  # noqa: B023

        do_each(sweep, parts[::-1] if descending else parts, threads)
        changed, left = (sum(column) for column in zip(*counts, strict=True))
        parts, descending = sorted(open_), not descending
    return left


def in_parts(kernel: Callable[..., Any], count: int, threads: int, *arguments: Any) -> list[Any]:
    """Apply a kernel, whose first arguments are `begin` and `end`, to all states; its results."""
    results: list[Any] = []
    do_each(lambda part: results.append(kernel(*part, *arguments)), _parts(count), threads)
    return results


def do_each(work: Callable[[T], None], items: Iterable[T], threads: int) -> None:
    """Do some work for each item, on several threads at a time."""
    known = list(items)
    waiting, halted = iter(known), Event()

    def task() -> None:
        for item in waiting:
            if halted.is_set():
                return
            work(item)

    do_together([task] * max(1, min(threads, len(known))), halted.set)


def _parts(count: int) -> list[tuple[int, int]]:
    return [(begin, min(begin + PART, count)) for begin in range(0, count, PART)]
