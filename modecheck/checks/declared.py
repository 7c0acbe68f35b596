"""A check: what kind of finding it looks for, what it needs for that, and how."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any, TypeVar

from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import ReachGoal, Space

if TYPE_CHECKING:
    from modecheck.checks.explored import Explored

T = TypeVar("T")


class Needs(Enum):
    """What a check reads, and so what a reduction must preserve for it to mean anything."""

    TEXT = "the model alone"
    DEADLOCKS = "the states in which no chip or link moves"
    STATES = "what is reached, and how"
    PATHS = "which states lead to which"
    LOOPS = "loops, and which unit moves in them"


ALL = frozenset(Needs)
PRESERVED = {
    "order": frozenset({Needs.TEXT, Needs.DEADLOCKS}),
    "zones": frozenset({Needs.TEXT, Needs.STATES}),
    "store": frozenset({Needs.TEXT, Needs.DEADLOCKS, Needs.STATES}),
    "symmetry": ALL - {Needs.LOOPS},
}
"""What remains to be seen when independent steps are explored in one order only, with zones, in a
store that does not hold all states, and when identical units are exchanged: a loop of
representatives may lead from one unit to the other, and be fair to none.
"""


class Evidence:
    """An explored space, with what several checks read of it, computed once."""

    def __init__(self, space: Space) -> None:
        self.space = space
        self._known: dict[Callable[[Space], Any], Any] = {}

    def of(self, reading: Callable[[Space], T]) -> T:
        """What a function reads of the space."""
        if reading not in self._known:
            self._known[reading] = reading(self.space)
        known: T = self._known[reading]
        return known


@dataclass(frozen=True, slots=True)
class Check:
    """Looks for one kind of finding: with `find` in each variant, or with `across` in all explored
    variants together, provided that all of them were explored completely. Where it has neither,
    the verdict on requirements or on acceptances yields its findings.

    `doing` is what progress calls it, and `goals` tells what it will ask of paths. With
    `every_variant` it is asked only if no combination of options was left out.
    """

    code: str
    needs: Needs
    find: Callable[[Evidence], Iterable[Finding]] | None = None
    across: Callable[[Sequence[Explored]], Iterable[Finding]] | None = None
    doing: str = ""
    every_variant: bool = False
    goals: Callable[[Space], Iterable[ReachGoal]] | None = None
