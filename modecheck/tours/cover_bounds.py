"""Lower bounds on the number of steps of walks that take all classes.

Classes are taken for the first time in some order. Between two of these moments there are at
least as many steps as it takes from any arc of the one class to any arc of the other, and a new
start costs a step and the path from the start. So the walks together are at least as long as the
cheapest choice of a predecessor, a class or the start, for each class,

- where no class is chosen twice: an assignment (the start may be, but all starts but the first cost
a step), and - where the choices form no cycle: an arborescence (Chu & Liu 1965; Edmonds 1967).

Both are lower bounds, and the greater is used. An arc that takes two classes makes the gap between
them 0, so the bounds are also computed for subsets of the classes of which no arc takes two: walks
that take all classes take these. The best of several such subsets is used. The bound need not be
attained.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from modecheck.tours.flow import Pipe, cheapest_flow

MOST_CHOICES = 24
"""Selections of classes that bounds are computed for; each takes a few milliseconds."""


@dataclass(frozen=True, slots=True)
class Gaps:
    """The fewest steps to class `c` from the start (`first[c]`) and from class `b`
    (`between[b][c]`), new starts allowed.
    """

    first: tuple[int, ...]
    between: tuple[tuple[int, ...], ...]

    def only(self, some: Sequence[int]) -> Gaps:
        """The gaps between some of the classes."""
        rows = (tuple(self.between[b][c] for c in some) for b in some)
        return Gaps(tuple(self.first[c] for c in some), tuple(rows))

    def length(self, order: Sequence[int]) -> int:
        """The least number of steps that take the classes in this order."""
        if not order:
            return 0
        pairs = pairwise(order)
        return self.first[order[0]] + sum(self.between[b][c] for b, c in pairs)


def lower_bound(gaps: Gaps) -> int:
    """No walks that take every class have fewer steps, new starts included."""
    if not gaps.first:
        return 0
    return max(_bound(gaps), *(_bound(gaps.only(some)) for some in _choices(gaps)))


def _bound(gaps: Gaps) -> int:
    return max(_assignment(gaps), _arborescence(gaps), *gaps.first)


def _choices(gaps: Gaps) -> Iterator[list[int]]:
    """Sets of classes of which no arc takes two: one grown from each class, those first that the
    fewest others stand in the way of.
    """
    count = len(gaps.first)
    beside = [{c for c in range(count) if c != b and not gaps.between[b][c]} for b in range(count)]
    by_freedom = sorted(range(count), key=lambda c: (len(beside[c]), -gaps.first[c], c))
    known = set()
    for first in by_freedom[:MOST_CHOICES]:
        chosen = [first]
        barred = {first} | beside[first]
        for c in by_freedom:
            if c not in barred:
                chosen.append(c)
                barred |= {c} | beside[c]
        if frozenset(chosen) not in known:
            known.add(frozenset(chosen))
            yield chosen


def _assignment(gaps: Gaps) -> int:
    count = len(gaps.first)
    source, root = 2 * count, 2 * count + 1
    pipes = [Pipe(source, root, 0)]
    for c in range(count):
        pipes.append(Pipe(source, c, 0, 1))
        pipes.append(Pipe(root, count + c, gaps.first[c] + 1))
        others = (b for b in range(count) if b != c)
        pipes += [Pipe(b, count + c, gaps.between[b][c]) for b in others]
    supplies = [0] * count + [-1] * count + [count, 0]
    flow = cheapest_flow(len(supplies), pipes, supplies)
    assert flow is not None, "every class may follow the start"
    # The first start is free, and there always is one: every circle of choices could be cut there.
    return sum(amount * pipe.cost for amount, pipe in zip(flow, pipes, strict=True)) - 1


def _arborescence(gaps: Gaps) -> int:
    """The cost of the cheapest arborescence from the start; circles are contracted."""
    count = len(gaps.first)
    arcs = [(count, c, gaps.first[c]) for c in range(count)]
    arcs += [(b, c, gaps.between[b][c]) for b in range(count) for c in range(count) if b != c]
    total, nodes, root = 0, count + 1, count
    while True:
        cheapest: dict[int, tuple[int, int]] = {}
        for tail, head, cost in arcs:
            if head != root and (head not in cheapest or cost < cheapest[head][0]):
                cheapest[head] = cost, tail
        total += sum(cost for cost, _ in cheapest.values())
        group, groups = _circles(nodes, root, {n: tail for n, (_, tail) in cheapest.items()})
        if groups == nodes:
            return total
        arcs = [
            (group[tail], group[head], cost - (cheapest[head][0] if head in cheapest else 0))
            for tail, head, cost in arcs
            if group[tail] != group[head]
        ]
        nodes, root = groups, group[root]


def _circles(nodes: int, root: int, before: dict[int, int]) -> tuple[list[int], int]:
    """A number for each node, the same for all of a circle of choices, and how many there are."""
    group, seen, groups = [-1] * nodes, [-1] * nodes, 0
    for start in range(nodes):
        node = start
        while node != root and seen[node] < 0:
            seen[node] = start
            node = before[node]
        if node != root and seen[node] == start and group[node] < 0:
            around = node
            while group[around] < 0:
                group[around] = groups
                around = before[around]
            groups += 1
    for node in range(nodes):
        if group[node] < 0:
            group[node] = groups
            groups += 1
    return group, groups
