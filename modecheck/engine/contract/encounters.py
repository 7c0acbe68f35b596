"""What is noted while stepping, for the checks that ask what can never happen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

DISCARDED, DEFERRED, UNSPECIFIED, UNHEARD, BLOCKED = -1, -2, -3, -4, -5
"""Outcomes of an encounter in which no rule was taken; `BLOCKED` where one waited for room."""


class Encounter(NamedTuple):
    """An event met a chip in a leaf. `queue` is -1 for signals, whose number is then `event`."""

    chip: int
    leaf: int
    queue: int
    event: int
    outcome: int


@dataclass(slots=True)
class Observed:
    """What was seen while stepping: encounters, observers with the places of their tables that were
    looked up, and for curious rules, although their own guards held, what was in the way: the rule
    that shadowed them, or else `BLOCKED` where their links were full.
    """

    encounters: set[Encounter] = field(default_factory=set)
    taken: set[int] = field(default_factory=set)
    curious: frozenset[int] = frozenset()
    shadowed: dict[int, int] = field(default_factory=dict)
    watched: set[tuple[int, int]] = field(default_factory=set)

    def note_shadow(self, rule: int, by: int) -> None:
        """Keep the first rule that shadows a curious one, rather than that it was blocked."""
        if self.shadowed.get(rule, BLOCKED) == BLOCKED:
            self.shadowed[rule] = by
