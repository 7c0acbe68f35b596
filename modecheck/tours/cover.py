"""Short walks from a start that together take every class of arcs (such as every rule of a chip).

Finding the shortest is NP-hard (with a class of one arc for each city it is the travelling salesman
problem), so there are two methods, and the result says which was used:

- *optimal*: if nodes times sets of classes are few (`EXACT_PAIRS`), a breadth-first search over
  pairs of a node and the set of classes taken so far; or, if classes are few and no arc takes two,
  all orders of classes that the gaps between them do not rule out;
- *heuristic* otherwise: from several starting orders, classes are moved as long as that shortens
  the sum of the gaps between them; for the order found the walks are exact (a shortest path through
  layers); classes that are taken along the way are dropped from the order, repeatedly. In a small
  graph a beam search (`beam`) then looks for a shorter cover.

Either way a lower bound says how far from the shortest it is at most (`cover_bounds`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import permutations
from operator import or_

import numpy as np

from modecheck.engine.reference.predecessors import path_to
from modecheck.tours.beam import Pair, arcs_with_classes, beam_search
from modecheck.tours.class_graph import FAR, NEW_START, ClassGraph
from modecheck.tours.cover_bounds import Gaps, lower_bound

EXACT_PAIRS = 1 << 18
"""Pairs of node and set that a search in plain Python visits in about a second."""
MOST_IN_ALL_ORDERS = 6
"""Classes whose orders are all tried, at most 720."""
LONGEST_MOVED = 3
"""Most classes that are moved together."""


@dataclass(frozen=True, slots=True)
class Cover:
    """Walks as numbers of arcs. `cost` counts their steps and one for each new start. No cover
    costs less than `bound`; `optimal` says that none costs less than this one. `never` are the
    classes that no walk can take.
    """

    walks: tuple[tuple[int, ...], ...]
    cost: int
    bound: int
    optimal: bool
    never: tuple[int, ...] = ()


def cover(graph: ClassGraph, wanted: Sequence[int]) -> Cover:
    """Walks that take all wanted classes that can be taken."""
    from_start = graph.from_start()
    firsts = {c: graph.nearest(from_start, c) for c in wanted}
    classes = [c for c in wanted if firsts[c] < FAR]
    never = tuple(c for c in wanted if firsts[c] >= FAR)
    if graph.nodes << len(classes) <= EXACT_PAIRS:
        walk = _exact(graph, classes)
        return Cover(_cut(walk), len(walk), len(walk), optimal=True, never=never)
    gaps = _gaps(graph, classes, [firsts[c] for c in classes])
    bound = lower_bound(gaps)
    few = _by_all_orders(graph, classes, gaps)
    if few is not None:
        return Cover(_cut(few), len(few), len(few), optimal=True, never=never)
    walk = _by_orders(graph, classes, gaps)
    walk = beam_search(graph, classes, len(walk)) or walk
    return Cover(_cut(walk), len(walk), bound, optimal=len(walk) == bound, never=never)


def _cut(walk: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    walks: list[list[int]] = [[]]
    for arc in walk:
        if arc == NEW_START:
            walks.append([])
        else:
            walks[-1].append(arc)
    return tuple(map(tuple, walks))


def _exact(graph: ClassGraph, classes: Sequence[int]) -> list[int]:
    """Breadth first over pairs of a node and the set of classes taken."""
    everything = (1 << len(classes)) - 1
    leaving = arcs_with_classes(graph, classes)
    begin = (graph.start, 0)
    came: dict[Pair, tuple[Pair, int] | None] = {begin: None}
    order = [begin]
    for pair in order:  # grows while it is gone through
        node, taken = pair
        if taken == everything:
            return [arc for arc, _ in path_to(came, pair)]
        onward = [((head, taken | more), arc) for head, more, arc in leaving[node]]
        for following, arc in [*onward, ((graph.start, taken), NEW_START)]:
            if following not in came:
                came[following] = pair, arc
                order.append(following)
    raise AssertionError("every class can be taken from the start")


def _gaps(graph: ClassGraph, classes: Sequence[int], firsts: Sequence[int]) -> Gaps:
    rows = []
    for one in classes:
        heads = np.unique(graph.heads[graph.arcs_of(one)])
        distances = graph.distances(heads, np.zeros(heads.size, dtype=np.int64))
        beside = reduce(or_, (graph.takes[arc] for arc in graph.arcs_of(one)), 0)
        rows.append(
            tuple(
                0 if beside >> c & 1 else min(graph.nearest(distances, c), first + 1)
                for c, first in zip(classes, firsts, strict=True)
            )
        )
    return Gaps(tuple(firsts), tuple(rows))


def _by_all_orders(graph: ClassGraph, classes: Sequence[int], gaps: Gaps) -> list[int] | None:
    """The shortest of the walks for all orders, those with small gaps first, up to where the gaps
    alone are as long. None when that takes too many, or where an arc takes two classes, which no
    order tells.
    """
    count = len(classes)
    apart = all(gaps.between[b][c] for b in range(count) for c in range(count) if b != c)
    if count > MOST_IN_ALL_ORDERS or not apart:
        return None
    best: list[int] | None = None
    left = _walks_tried(graph)
    for order in sorted(permutations(range(count)), key=gaps.length):
        if best is not None and gaps.length(order) >= len(best):
            return best
        if not left:
            return None
        left -= 1
        walk = graph.through([classes[place] for place in order])
        if walk is not None and (best is None or len(walk) < len(best)):
            best = walk
    return best


def _walks_tried(graph: ClassGraph) -> int:
    """How many walks are looked for: fewer where each takes long."""
    return max(24, min(500, 20_000_000 // max(graph.heads.size, 1)))


def _by_orders(graph: ClassGraph, classes: Sequence[int], gaps: Gaps) -> list[int]:
    best: list[int] | None = None
    tried = set()
    for beginning in range(min(len(classes), _beginnings(graph))):
        order = tuple(_moved(gaps, _nearest_first(gaps, beginning)))
        if order in tried:
            continue
        tried.add(order)
        walk = _shortened(graph, classes, [classes[place] for place in order])
        if best is None or len(walk) < len(best):
            best = walk
    assert best is not None
    return best


def _beginnings(graph: ClassGraph) -> int:
    """How many orders are tried: fewer where each takes long."""
    return max(2, min(24, 4_000_000 // max(graph.heads.size, 1)))


def _nearest_first(gaps: Gaps, beginning: int) -> list[int]:
    """Always the class that is nearest and not there yet; begins with the nearest but some."""
    count = len(gaps.first)
    order = [sorted(range(count), key=lambda c: (gaps.first[c], c))[beginning]]
    left = set(range(count)) - set(order)
    while left:
        last = order[-1]
        order.append(min(left, key=lambda c: (gaps.between[last][c], c)))
        left.remove(order[-1])
    return order


def _moved(gaps: Gaps, order: list[int]) -> list[int]:
    """Up to `LONGEST_MOVED` neighbours to another place, as long as that shortens the order."""
    shorter: list[int] | None = order
    while shorter is not None:
        order = shorter
        shorter = _with_one_move(gaps, order)
    return order


def _with_one_move(gaps: Gaps, order: list[int]) -> list[int] | None:
    """The first shorter order with a few neighbours at another place, or None."""
    for length in range(1, LONGEST_MOVED + 1):
        for start in range(len(order) - length + 1):
            moved, rest = order[start : start + length], order[:start] + order[start + length :]
            for place in range(len(rest) + 1):
                if _detour(gaps, rest, moved, place) < _detour(gaps, rest, moved, start):
                    return rest[:place] + moved + rest[place:]
    return None


def _detour(gaps: Gaps, rest: list[int], moved: list[int], place: int) -> int:
    """What it costs to take some classes at a place among the rest."""
    into = gaps.between[rest[place - 1]] if place else gaps.first
    if place == len(rest):
        return into[moved[0]]
    return into[moved[0]] + gaps.between[moved[-1]][rest[place]] - into[rest[place]]


def _shortened(graph: ClassGraph, classes: Sequence[int], order: list[int]) -> list[int]:
    """The walk for an order; classes that it takes by the way lose their place if that helps."""
    walk = graph.through(order)
    assert walk is not None, "a new start leads to every class"
    while True:
        needed = _needed(graph, walk, order)
        if needed == order:
            return walk
        shorter = graph.through(needed)
        assert shorter is not None
        if len(shorter) > len(walk) or not _takes_all(graph, shorter, classes):
            return walk
        walk, order = shorter, needed


def _needed(graph: ClassGraph, walk: Sequence[int], order: Sequence[int]) -> list[int]:
    """The classes of an order that a walk takes with no arc before their turn."""
    needed, place, seen = [], 0, 0
    for arc in walk:
        if arc == NEW_START:
            continue
        takes = graph.takes[arc]
        while place < len(order) and seen >> order[place] & 1:
            place += 1
        if place < len(order) and takes >> order[place] & 1:
            needed.append(order[place])
        seen |= takes
    return needed


def _takes_all(graph: ClassGraph, walk: Sequence[int], classes: Sequence[int]) -> bool:
    seen = 0
    for arc in walk:
        seen |= 0 if arc == NEW_START else graph.takes[arc]
    return all(seen >> c & 1 for c in classes)
