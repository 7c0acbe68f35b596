"""The order in which a reader meets the states of a chip: from top to bottom in pictures."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence

from modecheck.model.parts import Chip


def reading_layers(chip: Chip) -> dict[str, int]:
    """How many transitions each state is away from an initial one.

    Rules of the whole chip are left out (they would make everything near); states that no other
    rule reaches come last. A composite state is as near as the nearest state inside.
    """
    ways: dict[str, set[str]] = {leaf: set() for leaf in chip.leaves}
    for rule in chip.rules:
        if rule.target is not None:
            for source in rule.sources:
                for leaf in chip.states[source].leaves:
                    ways[leaf].add(chip.states[rule.target].initial_leaf)
    met = dict(_met_from(chip.initial_leaves, ways))
    last = max(met.values()) + 1
    return {
        state.name: min(met.get(leaf, last) for leaf in state.leaves)
        for state in chip.states.values()
    }


def _met_from(starts: Sequence[str], ways: dict[str, set[str]]) -> Iterator[tuple[str, int]]:
    met = set(starts)
    waiting = deque((start, 0) for start in starts)
    while waiting:
        leaf, layer = waiting.popleft()
        yield leaf, layer
        fresh = ways[leaf] - met
        met |= fresh
        waiting.extend((nearby, layer + 1) for nearby in fresh)
