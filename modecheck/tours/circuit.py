"""A closed walk over every arc of a balanced multigraph (Hierholzer 1873)."""

from __future__ import annotations

from collections.abc import Sequence


def euler_circuit(ends: Sequence[tuple[int, int]], start: int) -> list[int]:
    """The numbers of all arcs, each once, in the order of one closed walk from `start`.

    `ends` gives tail and head of each arc. Each node must have as many incoming as outgoing
    arcs, and all arcs must be reachable from `start`; otherwise `ValueError`. Which of several
    walks is returned depends only on the order of the arcs.
    """
    leaving: dict[int, list[int]] = {}
    for arc in range(len(ends) - 1, -1, -1):
        leaving.setdefault(ends[arc][0], []).append(arc)
    circuit: list[int] = []
    path: list[int] = []
    node = start
    while True:
        left = leaving.get(node)
        if left:
            path.append(left.pop())
            node = ends[path[-1]][1]
        elif path:
            circuit.append(path.pop())
            node = ends[circuit[-1]][0]
        else:
            break
    circuit.reverse()
    if len(circuit) != len(ends) or not _is_closed(ends, circuit, start):
        raise ValueError("there is no closed walk over all arcs")
    return circuit


def _is_closed(ends: Sequence[tuple[int, int]], circuit: Sequence[int], start: int) -> bool:
    node = start
    for arc in circuit:
        tail, head = ends[arc]
        if tail != node:
            return False
        node = head
    return node == start
