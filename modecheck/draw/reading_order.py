"""In which order a reader meets the states of a chip; pictures run downwards in it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from modecheck.model.parts import Chip


def reading_order(chip: Chip) -> dict[str, int]:
    """States numbered as a reader meets them: steps away from the start, then document order.

    Rules of the whole chip are left out (they would bring everything near), and states that
    nothing else reaches come last. A composite state has the number of its first state.
    """
    ways: dict[str, set[str]] = {leaf: set() for leaf in chip.leaves}
    for rule in chip.rules:
        if rule.target is not None:
            for source in rule.sources:
                for leaf in chip.states[source].leaves:
                    ways[leaf].add(chip.states[rule.target].initial_leaf)
    met = list(_met_from(chip.initial_leaf, ways, chip.leaves))
    met += [leaf for leaf in chip.leaves if leaf not in met]
    return {
        state.name: min(met.index(leaf) for leaf in state.leaves) for state in chip.states.values()
    }


def _met_from(start: str, ways: dict[str, set[str]], order: tuple[str, ...]) -> Iterator[str]:
    met = {start}
    waiting = deque([start])
    while waiting:
        leaf = waiting.popleft()
        yield leaf
        for nearby in order:
            if nearby in ways[leaf] and nearby not in met:
                met.add(nearby)
                waiting.append(nearby)
