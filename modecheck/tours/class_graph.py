"""A graph whose arcs take classes (such as rules), and the shortest walks through classes in order.

Nodes, arcs and classes are numbers. A new start leads from any node to the first one and counts as
one step. Distances are found level by level with numpy, so that a graph of some hundred thousand
arcs is searched in milliseconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Numbers: TypeAlias = NDArray[np.int64]
FAR = 1 << 40
"""Farther than any node: there is no path."""
NEW_START = -1
"""Stands in a walk for a new start."""


@dataclass(frozen=True, slots=True)
class Layer:
    """Distances once a class has been taken, and the least distance at which it is taken."""

    distances: Numbers
    least: int


class ClassGraph:
    """Arcs from `tails` to `heads`; arc `a` takes the classes that are bits of `takes[a]`."""

    def __init__(
        self,
        nodes: int,
        tails: Sequence[int],
        heads: Sequence[int],
        takes: Sequence[int],
        start: int,
    ) -> None:
        self.nodes, self.start, self.takes = nodes, start, takes
        self.tails = np.asarray(tails, dtype=np.int64)
        self.heads = np.asarray(heads, dtype=np.int64)
        self._leaving, self._first = self._sorted_by(self.tails)
        self._entering, self._first_in = self._sorted_by(self.heads)
        self._arcs_of: dict[int, Numbers] = {}

    def _sorted_by(self, ends: Numbers) -> tuple[Numbers, Numbers]:
        """Arcs sorted by one of their ends, and where those of each node begin."""
        counts = np.bincount(ends, minlength=self.nodes) if ends.size else np.zeros(self.nodes)
        first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        return np.argsort(ends, kind="stable").astype(np.int64), first

    def arcs_of(self, wanted: int) -> Numbers:
        """The arcs that take a class."""
        if wanted not in self._arcs_of:
            found = [arc for arc, bits in enumerate(self.takes) if bits >> wanted & 1]
            self._arcs_of[wanted] = np.asarray(found, dtype=np.int64)
        return self._arcs_of[wanted]

    def from_start(self) -> Numbers:
        """The distance of each node from the start, without new starts."""
        return self.distances(np.asarray([self.start]), np.asarray([0]))

    def distances(self, seeds: Numbers, values: Numbers) -> Numbers:
        """For each node the least sum of a seed's value and the arcs from there; `FAR` if there is
        no path.
        """
        found = np.full(self.nodes, FAR, dtype=np.int64)
        order = np.argsort(values, kind="stable")
        seeds, values = seeds[order], values[order]
        place, level = 0, 0
        frontier = np.empty(0, dtype=np.int64)
        while frontier.size or place < seeds.size:
            if not frontier.size:
                level = int(values[place])
            end = int(np.searchsorted(values, level, side="right"))
            frontier = np.concatenate([frontier, seeds[place:end]])
            place = end
            frontier = np.unique(frontier[found[frontier] > level])
            found[frontier] = level
            frontier = self._behind(frontier)
            level += 1
        return found

    def _behind(self, nodes: Numbers) -> Numbers:
        """The heads of all arcs that leave some nodes."""
        starts = self._first[nodes]
        counts = self._first[nodes + 1] - starts
        before = np.cumsum(counts) - counts
        places = np.repeat(starts - before, counts) + np.arange(int(counts.sum()))
        return self.heads[self._leaving[places]]

    def nearest(self, distances: Numbers, wanted: int) -> int:
        """The least number of steps at which a class is taken, given the distances of nodes."""
        arcs = self.arcs_of(wanted)
        return int(distances[self.tails[arcs]].min()) + 1 if arcs.size else FAR

    def through(self, order: Sequence[int]) -> list[int] | None:
        """A shortest walk that takes these classes in this order, as arcs and `NEW_START`; None if
        there is none. It is exact: a shortest path through a layer for each class.
        """
        layers = [Layer(self.from_start(), 0)]
        for wanted in order:
            layer = self._next_layer(layers[-1].distances, wanted)
            if layer is None:
                return None
            layers.append(layer)
        return self._walked_back(layers, order)

    def _next_layer(self, distances: Numbers, wanted: int) -> Layer | None:
        arcs = self.arcs_of(wanted)
        arcs = arcs[distances[self.tails[arcs]] < FAR]
        if not arcs.size:
            return None
        values = distances[self.tails[arcs]] + 1
        least = int(values.min())
        seeds = np.concatenate([self.heads[arcs], [self.start]])
        return Layer(self.distances(seeds, np.concatenate([values, [least + 1]])), least)

    def _walked_back(self, layers: list[Layer], order: Sequence[int]) -> list[int]:
        walk: list[int] = []
        number = len(layers) - 1
        if number == 0:
            return walk
        arc = self._taken_at(layers[number - 1].distances, order[number - 1], layers[number].least)
        walk.append(arc)
        node, value, number = int(self.tails[arc]), layers[number].least - 1, number - 1
        while number > 0 or value > 0:
            entered = self._entered(layers, order, number, node, value)
            if entered is not None:
                walk += entered
                number, value = number - 1, value - len(entered)
            else:
                walk.append(self._before(layers[number].distances, node, value))
                value -= 1
            node = int(self.tails[walk[-1]])
        return walk[::-1]

    def _entered(
        self, layers: list[Layer], order: Sequence[int], number: int, node: int, value: int
    ) -> list[int] | None:
        """How a layer was entered at a node with a value: by an arc, or by one and a new start."""
        if number == 0:
            return None
        before, wanted = layers[number - 1].distances, order[number - 1]
        arc = self._taken_at(before, wanted, value, node)
        if arc >= 0:
            return [arc]
        if node == self.start and value == layers[number].least + 1:
            return [NEW_START, self._taken_at(before, wanted, value - 1)]
        return None

    def _taken_at(self, before: Numbers, wanted: int, value: int, node: int = -1) -> int:
        """The first arc that takes a class at a value (and leads to a node), or -1."""
        arcs = self.arcs_of(wanted)
        fits = before[self.tails[arcs]] == value - 1
        if node >= 0:
            fits &= self.heads[arcs] == node
        return int(arcs[np.argmax(fits)]) if fits.any() else -1

    def _before(self, distances: Numbers, node: int, value: int) -> int:
        """The first arc into a node from one that is a step nearer."""
        arcs = self._entering[self._first_in[node] : self._first_in[node + 1]]
        fits = distances[self.tails[arcs]] == value - 1
        assert fits.any(), "a finite distance has a path"
        return int(arcs[np.argmax(fits)])
