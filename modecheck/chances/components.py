"""Strongly connected components of a graph that is given by the successors of each node."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from modecheck.engine.search.search_kernels import find_components


def components(successors: Sequence[Iterable[int]]) -> list[set[int]]:
    """The components, each a set of nodes; a successor below 0 is none."""
    first, targets = [0], list[int]()
    for following in successors:
        targets += [target for target in following if target >= 0]
        first.append(len(targets))
    count, notes, barred = len(successors), [0] * len(targets), [0]
    marks, inside, component, *room = ([number] * count for number in (0, 1, *[0] * 7))
    find_components(first, targets, notes, marks, inside, barred, 0, False, component, *room)
    parts: dict[int, set[int]] = {}
    for number, part in enumerate(component):
        parts.setdefault(part, set()).add(number)
    return list(parts.values())
