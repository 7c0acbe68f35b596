"""The cheapest flow from supplies to demands.

Primal-dual method with potentials (Ford & Fulkerson 1962; potentials as in Edmonds & Karp 1972):
each phase finds the distances from all remaining supplies, and then fills all shortest paths at
once, in the layers of Dinic (1970). There is one phase for each distinct path length, so unit costs
need few phases, however much flows.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

UNREACHED = -1


@dataclass(frozen=True, slots=True)
class Pipe:
    """From `tail` to `head`; each unit costs `cost`, a whole number of at least 0. `capacity` is
    None where any number may flow.
    """

    tail: int
    head: int
    cost: int
    capacity: int | None = None


def cheapest_flow(nodes: int, pipes: Sequence[Pipe], supplies: Sequence[int]) -> list[int] | None:
    """How much flows through each pipe, in whole units, at the least total cost. `supplies[n]`
    units leave node `n` more than enter it (negative: a demand); they sum to 0. None if the
    supplies cannot reach the demands.
    """
    if sum(supplies):
        raise ValueError("supplies and demands differ")
    net = _Network(nodes, pipes, supplies)
    while net.flow < net.wanted:
        if not net.find_distances():
            return None
        while net.find_layers():
            net.fill_layers()
    return [net.room[2 * number + 1] for number in range(len(pipes))]


class _Network:
    """Residual arcs in pairs: arc `2p` is a pipe, arc `2p + 1` takes back what flows through it."""

    def __init__(self, nodes: int, pipes: Sequence[Pipe], supplies: Sequence[int]) -> None:
        self.source, self.sink = nodes, nodes + 1
        self.wanted = sum(supply for supply in supplies if supply > 0)
        self.flow = 0
        self.heads: list[int] = []
        self.room: list[int] = []
        self.costs: list[int] = []
        self.leaving: list[list[int]] = [[] for _ in range(nodes + 2)]
        self.potential = [0] * (nodes + 2)
        self.layer: list[int] = []
        for pipe in pipes:
            room = self.wanted if pipe.capacity is None else pipe.capacity
            self._add(pipe.tail, pipe.head, pipe.cost, room)
        for node, supply in enumerate(supplies):
            if supply > 0:
                self._add(self.source, node, 0, supply)
            elif supply < 0:
                self._add(node, self.sink, 0, -supply)

    def _add(self, tail: int, head: int, cost: int, room: int) -> None:
        self.leaving[tail].append(len(self.heads))
        self.leaving[head].append(len(self.heads) + 1)
        self.heads += [head, tail]
        self.room += [room, 0]
        self.costs += [cost, -cost]

    def _reduced(self, tail: int, arc: int) -> int:
        """What an arc costs beyond the difference of potentials; never negative where there is
        room.
        """
        return self.costs[arc] + self.potential[tail] - self.potential[self.heads[arc]]

    def find_distances(self) -> bool:
        """Dijkstra's distances become potentials; False if there is no path to the sink."""
        distance = {self.source: 0}
        done: set[int] = set()
        pending = [(0, self.source)]
        while pending:
            length, node = heappop(pending)
            if node in done:
                continue
            done.add(node)
            if node == self.sink:
                break
            for arc in self.leaving[node]:
                head, onward = self.heads[arc], length + self._reduced(node, arc)
                if self.room[arc] and onward < distance.get(head, onward + 1):
                    distance[head] = onward
                    heappush(pending, (onward, head))
        if self.sink not in done:
            return False
        farthest = distance[self.sink]
        for node in range(len(self.potential)):
            self.potential[node] += distance[node] if node in done else farthest
        return True

    def find_layers(self) -> bool:
        """Layers over arcs of reduced cost 0; False if they do not reach the sink."""
        self.layer = [UNREACHED] * len(self.leaving)
        self.layer[self.source] = 0
        pending = deque([self.source])
        while pending:
            node = pending.popleft()
            for arc in self.leaving[node]:
                head = self.heads[arc]
                free = self.room[arc] and self.layer[head] == UNREACHED
                if free and not self._reduced(node, arc):
                    self.layer[head] = self.layer[node] + 1
                    pending.append(head)
        return self.layer[self.sink] != UNREACHED

    def fill_layers(self) -> None:
        """Fill paths from layer to layer until none is left. `tried[n]` counts the arcs of a node
        that are exhausted.
        """
        tried = [0] * len(self.leaving)
        path: list[int] = []
        node = self.source
        while True:
            if node == self.sink:
                self._push(path)
                path, node = [], self.source
                continue
            arc = self._onward(node, tried)
            if arc is not None:
                path.append(arc)
                node = self.heads[arc]
            elif path:
                node = self.heads[path.pop() ^ 1]
                tried[node] += 1
            else:
                return

    def _onward(self, node: int, tried: list[int]) -> int | None:
        """An arc to the next layer, or None where a node has none left."""
        arcs = self.leaving[node]
        while tried[node] < len(arcs):
            arc = arcs[tried[node]]
            next_layer = self.layer[self.heads[arc]] == self.layer[node] + 1
            if self.room[arc] and next_layer and not self._reduced(node, arc):
                return arc
            tried[node] += 1
        return None

    def _push(self, path: list[int]) -> None:
        amount = min(self.room[arc] for arc in path)
        for arc in path:
            self.room[arc] -= amount
            self.room[arc ^ 1] += amount
        self.flow += amount
