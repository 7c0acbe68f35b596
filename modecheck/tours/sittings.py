"""Cuts a long walk into tests that people can take in one sitting, each from power on.

Each part continues where the previous one ended: it takes a shortest path there, and leaves out
arcs at its beginning and end that are already taken. So every arc is still taken. The cost is these
paths and the new starts; there may be cheaper cuts.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from modecheck.tours.postman import Arc

SITTING = 40
"""Steps of a test: about as many as a person ticks off in half an hour."""
LEAST_SHARE = 4
"""At least a quarter of a part's steps come from the walk, however long the path to them is."""

Walk = tuple[int, ...]


def cut_into_sittings(
    walks: Sequence[Walk], arcs: Sequence[Arc], start: int, most: int
) -> tuple[Walk, ...]:
    """Walks from `start`, by numbers of arcs, that take the same arcs, in at most `most` steps
    each; a few more only if the path there is longer than that.
    """
    if all(len(walk) <= most for walk in walks):
        return tuple(walks)
    paths = _shortest_paths(arcs, start)
    done: set[int] = set()
    parts: list[Walk] = []
    for walk in walks:
        place = 0
        while (place := _next_new(walk, place, done)) < len(walk):
            path = paths[arcs[walk[place]].tail]
            end = min(place + max(most - len(path), -(-most // LEAST_SHARE)), len(walk))
            part = path + _without_known_end(walk[place:end], done)
            parts.append(part)
            done.update(part)
            place = end
    return tuple(parts)


def _next_new(walk: Walk, place: int, done: set[int]) -> int:
    """The next place in a walk, or this one, at which an arc is taken for the first time."""
    return next((n for n in range(place, len(walk)) if walk[n] not in done), len(walk))


def _without_known_end(piece: Walk, done: set[int]) -> Walk:
    """The piece up to the last arc that it takes for the first time."""
    firsts = [n for n, arc in enumerate(piece) if arc not in done and arc not in piece[:n]]
    return piece[: firsts[-1] + 1]


def _shortest_paths(arcs: Sequence[Arc], start: int) -> dict[int, Walk]:
    """To each node that can be reached, with the fewest steps; the first arcs among equals."""
    leaving: dict[int, list[int]] = {}
    for number, arc in enumerate(arcs):
        leaving.setdefault(arc.tail, []).append(number)
    paths: dict[int, Walk] = {start: ()}
    nodes = [start]
    for node in nodes:  # grows while it is gone through
        for number in leaving.get(node, ()):
            head = arcs[number].head
            if head not in paths:
                paths[head] = (*paths[node], number)
                nodes.append(head)
    return paths
