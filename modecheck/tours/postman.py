"""Shortest walks over every arc of a directed multigraph: directed postman tours.

Edmonds & Johnson 1973 for the closed tour: the cheapest set of arcs to repeat is a flow from the
nodes that more arcs enter than leave to the others, and the graph with these repetitions has an
Euler circuit. Aho, Dahbura, Lee & Uyar 1991 applied this to protocol tests.

An *open* tour may end anywhere: one more unit flows from the end, wherever that is, to the start.
Where there is no path back, a test has to be restarted. A *reset* leads from any node to the start
and costs more than it could ever save, so the number of resets is the smallest possible, and among
all tours with that number the result is one of the shortest. Nothing here is a heuristic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.tours.circuit import euler_circuit
from modecheck.tours.flow import Pipe, cheapest_flow


@dataclass(frozen=True, slots=True)
class Arc:
    """From node to node, at a cost of at least 0."""

    tail: int
    head: int
    cost: int = 1


@dataclass(frozen=True, slots=True)
class Tour:
    """Walks from the start, as numbers of arcs; a reset stands between each two. A closed tour that
    needs resets may end with one, too (`returns`).
    """

    walks: tuple[tuple[int, ...], ...]
    cost: int
    returns: bool = False

    @property
    def resets(self) -> int:
        """How often it starts over."""
        return len(self.walks) - 1 + self.returns


class UnreachableArcs(ValueError):
    """No walk from the start takes these arcs (numbers)."""

    def __init__(self, arcs: Sequence[int]) -> None:
        super().__init__(f"{len(arcs)} of the arcs cannot be reached")
        self.arcs = tuple(arcs)


def postman_tour(nodes: int, arcs: Sequence[Arc], start: int, *, closed: bool) -> Tour:
    """A tour over every arc: as few resets as possible, then as cheap as possible.

    A closed tour ends where it began; it has no reset exactly when the graph is strongly connected
    (nodes that no arc touches do not count). Raises `UnreachableArcs`.
    """
    reached = _reachable(nodes, arcs, start)
    unreachable = [number for number, arc in enumerate(arcs) if not reached[arc.tail]]
    if unreachable:
        raise UnreachableArcs(unreachable)
    surplus = [0] * (nodes + 1)
    for arc in arcs:
        surplus[arc.head] += 1
        surplus[arc.tail] -= 1
    anywhere = nodes
    if not closed:
        surplus[start] += 1
        surplus[anywhere] -= 1
    dear = _more_than_any_saving(arcs, surplus)
    resets = [Pipe(n, start, dear) for n in range(nodes) if reached[n] and n != start]
    ends = [] if closed else [Pipe(n, anywhere, 0, 1) for n in range(nodes) if reached[n]]
    pipes = [*(Pipe(arc.tail, arc.head, arc.cost) for arc in arcs), *resets, *ends]
    flow = cheapest_flow(nodes + 1, pipes, surplus)
    assert flow is not None, "resets lead from everywhere to the start"
    return _walked(arcs, pipes, flow, start, anywhere)


def _reachable(nodes: int, arcs: Sequence[Arc], start: int) -> list[bool]:
    following: list[list[int]] = [[] for _ in range(nodes)]
    for arc in arcs:
        following[arc.tail].append(arc.head)
    reached = [False] * nodes
    reached[start] = True
    pending = [start]
    while pending:
        for head in following[pending.pop()]:
            if not reached[head]:
                reached[head] = True
                pending.append(head)
    return reached


def _more_than_any_saving(arcs: Sequence[Arc], surplus: Sequence[int]) -> int:
    """A cheapest flow sends each unit along a simple path, which costs at most all arcs
    together.
    """
    return 1 + sum(arc.cost for arc in arcs) * sum(amount for amount in surplus if amount > 0)


def _walked(
    arcs: Sequence[Arc], pipes: Sequence[Pipe], flow: Sequence[int], start: int, anywhere: int
) -> Tour:
    """Each arc once and as often more as something flows through it, in one circuit, cut
    at resets.
    """
    taken = [
        *range(len(arcs)),
        *(number for number, amount in enumerate(flow) for _ in range(amount)),
    ]
    ends = [(pipes[n].tail, start if pipes[n].head == anywhere else pipes[n].head) for n in taken]
    circuit = [taken[place] for place in euler_circuit(ends, start)]
    last = next((i for i, n in enumerate(circuit) if pipes[n].head == anywhere), None)
    if last is not None:
        circuit = [*circuit[last + 1 :], *circuit[:last]]
    walks: list[list[int]] = [[]]
    for number in circuit:
        if number < len(arcs):
            walks[-1].append(number)
        else:
            walks.append([])
    returns = len(walks) > 1 and not walks[-1]
    if returns:
        walks.pop()
    cost = sum(arcs[number].cost for walk in walks for number in walk)
    return Tour(tuple(map(tuple, walks)), cost, returns)
