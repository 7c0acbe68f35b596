"""Fair loops: how a device can go on for ever although everything that has to happen does happen.

A run that goes on for ever is fair when no weak set of steps stays possible from some moment on
without being taken again, and no strong set becomes possible again and again without being taken
again and again (Streett conditions). In a finite product the states that a run passes again and
again are strongly connected, so fair runs are found among the components of the graph (Emerson and
Lei, "Modalities for model checking: branching time logic strikes back", 1987; Lichtenstein and
Pnueli 1985). This is exact, for in a component

- where a weak set is possible in every state and never taken inside, every loop is unfair to it;
- where a strong set is possible in some states and never taken inside, a fair loop avoids those
  states: they are taken away, and the rest falls into components anew;
- where neither occurs, the loop through all states and transitions of the component is fair.

A step in place (see `modecheck.engine.reference.system_actions`) counts as taken where a loop takes
it, and is not missed where none does: a loop that leaves it out goes through the same states.

For each component without a fair loop one set is noted that forbids it, and for each state outside
of all loops one that forbids to stay there: what holds because there is no fair loop holds if these
sets are fair, whatever becomes of the others.

The components are found by each engine in its own way. Here a short loop is made in one of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from modecheck.engine.contract.space import LoopQuery, Path

LONGEST_SEARCH = 24
"""States from which a loop is begun, the shallowest first, to find a short one."""


@dataclass(frozen=True, slots=True)
class Goal:
    """Where a path may end: in the state `end`, in one with the `mark`, in one in which the
    fairness set `without` is not possible, or with a step of the fairness set `taking` or in which
    one of the chips `moving` (bits) moves.
    """

    end: int = -1
    mark: int = 0
    without: int = -1
    taking: int = -1
    moving: int = 0


class Component(Protocol):
    """A strongly connected part of the graph in which some loop is fair."""

    def shallowest(self, most: int) -> Sequence[int]:
        """Some of its states, those nearest to the initial state."""

    def path(self, start: int, goal: Goal) -> Path | None:
        """A shortest path of at least one step inside, to the first that is a goal."""

    def possible(self, state: int) -> frozenset[int]:
        """The fairness sets that have a step in a state that leads away from it."""

    def has(self, state: int, mark: int) -> bool:
        """Whether a state has a mark."""

    def set_of(self, label: int) -> int:
        """The fairness set of a label, or -1."""


def short_loop(component: Component, query: LoopQuery, strong: Sequence[bool]) -> Path:
    """A short fair loop; the first pair's step leads away from the state where the last one ends.

    Begins with a shortest loop through what must be visited, and adds a way round for each set that
    this is unfair to, until it is unfair to none: at the latest when all of the component is in it.
    """
    best: Path | None = None
    for start in component.shallowest(LONGEST_SEARCH):
        found = _loop_from(component, start, query, strong, None if best is None else len(best))
        if found is not None and (best is None or len(found) < len(best)):
            best = found
    assert best is not None, "a component without any loop"
    return _from_first(best)


def _from_first(loop: Path) -> Path:
    """The same loop, begun where the first of its states is, so that the way to it is shortest."""
    states = [number for _, number in loop]
    begin = states.index(min(states)) + 1
    return loop[begin:] + loop[:begin]


def _loop_from(
    component: Component,
    start: int,
    query: LoopQuery,
    strong: Sequence[bool],
    most: int | None,
) -> Path | None:
    """A fair loop from a state, or None when it would not be shorter than `most`."""
    path: Path = []
    if query.moving:
        path = _extended(component, start, path, Goal(moving=query.moving))
    for mark in query.visits:
        if not any(component.has(state, mark) for state in (start, *(n for _, n in path))):
            path = _extended(component, start, path, Goal(mark=mark))
    while True:
        closed = _closed(component, start, path)
        if most is not None and len(closed) >= most:
            return None
        unfair = _unfair(component, closed, strong)
        if unfair is None:
            return closed
        way_out = -1 if strong[unfair] else unfair
        path = _extended(component, start, path, Goal(without=way_out, taking=unfair))


def _extended(component: Component, start: int, path: Path, goal: Goal) -> Path:
    here = path[-1][1] if path else start
    more = component.path(here, goal)
    assert more is not None, "a component that is not strongly connected"
    return path + more


def _closed(component: Component, start: int, path: Path) -> Path:
    if path and path[-1][1] == start:
        return path
    back = component.path(path[-1][1] if path else start, Goal(end=start))
    assert back is not None, "a component that is not strongly connected"
    return path + back


def _unfair(component: Component, loop: Path, strong: Sequence[bool]) -> int | None:
    """The first fairness set that a loop is unfair to."""
    taken = {component.set_of(label) for label, _ in loop}
    possible = [component.possible(state) for _, state in loop]
    anywhere, everywhere = frozenset().union(*possible), frozenset.intersection(*possible)
    wronged = sorted(
        number for number in anywhere - taken if strong[number] or number in everywhere
    )
    return wronged[0] if wronged else None
