"""Which states a road leads from: backward reachability over the explored transitions.

A state with a failing step, and one that was not expanded, counts as having a road: nobody knows
what lies behind it, and a check must not claim what it does not know.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable

from modecheck.engine.exploration import Exploration


class Roads:
    """The transitions of an exploration turned round; made once and shared by the checks."""

    def __init__(self, exploration: Exploration) -> None:
        self.exploration = exploration
        self._sources = array("l", bytes(exploration.targets.itemsize * exploration.transitions))
        self._first = [0] * (len(exploration.states) + 1)
        self._edges = array("l", self._sources)
        self._turn_round()

    def _turn_round(self) -> None:
        """Counting sort of the transitions by target."""
        found, first = self.exploration, self._first
        for number in range(found.expanded):
            for edge in found.edges(number):
                self._sources[edge] = number
        for target in found.targets:
            first[target + 1] += 1
        for number in range(len(found.states)):
            first[number + 1] += first[number]
        following = list(first)
        for edge, target in enumerate(found.targets):
            self._edges[following[target]] = edge
            following[target] += 1

    def into(self, number: int) -> list[tuple[int, int]]:
        """The transitions into a state, as pairs of its number and the state before."""
        edges = self._edges[self._first[number] : self._first[number + 1]]
        return [(edge, self._sources[edge]) for edge in edges]

    @property
    def unknown(self) -> list[int]:
        """States of which nobody knows what lies behind them."""
        found = self.exploration
        failing = [number for number, fails in enumerate(found.failing) if fails]
        return [*failing, *range(found.expanded, len(found.states))]

    def leading_to(
        self, goals: Iterable[int], allowed: Callable[[int], bool] | None = None
    ) -> bytearray:
        """For each state 1 if a road leads from it to a goal, over allowed transitions only."""
        reached = bytearray(len(self.exploration.states))
        pending = [*goals, *self.unknown]
        for number in pending:
            reached[number] = 1
        while pending:
            for edge, before in self.into(pending.pop()):
                if not reached[before] and (allowed is None or allowed(edge)):
                    reached[before] = 1
                    pending.append(before)
        return reached

    def movable(self) -> list[int]:
        """For each state, bits of the chips that can still move on some road from it."""
        found = self.exploration
        everybody = (1 << len(found.product.chips)) - 1
        masks = [0] * len(found.states)
        for number in range(found.expanded):
            for edge in found.edges(number):
                masks[number] |= found.notes[found.notes_of[edge]].moved
        for number in self.unknown:
            masks[number] = everybody
        pending = list(range(len(masks)))
        while pending:
            number = pending.pop()
            for _, before in self.into(number):
                if masks[number] & ~masks[before]:
                    masks[before] |= masks[number]
                    pending.append(before)
        return masks
