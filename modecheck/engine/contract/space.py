"""What an engine offers to the checks: the explored states, and searches over them.

States are numbered by depth, from 0, the initial one: a device that may begin in several states
has them all at depth 0, in any order. Sets of conditions are bits (`mark` gives the
bit of one), so that an engine can search millions of states without calling back.

A state that was not expanded, and one with a failing step, has an unknown future. Searches for
paths count it as one from which every path leads on: a check must not claim what nobody knows.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from modecheck.engine.contract.encounters import Observed
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product

State = tuple[int, ...]
"""The values of a product's fields."""
INITIAL = 0
"""The number of the initial state, or of one of several."""
INTERRUPTION = "an interruption"
"""What an exploration says that somebody stopped."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds of an exploration; None is no bound. `memory` is in bytes, for the whole process.

    `since` is the monotonic time from which `seconds` count, when that is not the engine's start.
    """

    states: int | None = None
    seconds: float | None = None
    memory: int | None = None
    since: float | None = None

    def from_now(self) -> Limits:
        """The same, with seconds that count from now, unless it is known already since when. So
        several explorations share them.
        """
        return self if self.since is not None else replace(self, since=time.monotonic())

    @property
    def time_is_up(self) -> bool:
        """Whether `seconds` have passed, where it is known since when they count."""
        if self.seconds is None or self.since is None:
            return False
        return time.monotonic() - self.since > self.seconds

    @property
    def reached_states(self) -> str:
        """What an exploration says that was stopped by the bound of states."""
        return f"the bound of {self.states:,} states"

    @property
    def reached_seconds(self) -> str:
        return f"the bound of {self.seconds:g} seconds"

    @property
    def reached_memory(self) -> str:
        if self.memory is None:
            return "lack of memory"
        return f"the bound of {self.memory / 1e6:,.0f} MB of memory"


Path = list[tuple[int, int]]
"""Pairs of a step's label and the number of the state behind it."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A transition: its label, the state behind it, and as bits who moved and what happened.
    `permutation` tells how the state behind it was exchanged for the one that stands for it.
    """

    label: int
    target: int
    moved: int
    events: int
    permutation: int = 0


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A set of marks that occurs: in which state first, and in how many."""

    first: int
    count: int


@dataclass(slots=True)
class Sighting:
    """A failing step: the state and label where it was seen first, and how often in all.

    `others` are failures of the same code and subject that blame another place.
    """

    failure: Failure
    state: int
    label: int
    count: int = 1
    others: list[Failure] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class ReachGoal:
    """States with some of the `marks`, or that lack some of those `lacking`, and how a path may
    lead there: without these events. Nobody knows what comes past a step that fails, so it counts
    as such a path, unless it is not to (`past_failures`).
    """

    marks: int
    lacking: int = 0
    without_events: int = 0
    past_failures: bool = True


HALTED = 1 << 63
"""A mark beyond those of all conditions: time cannot go on in the state."""


@dataclass(frozen=True, slots=True)
class LoopQuery:
    """Which loops are asked for: through states with all `wanted` marks and no `unwanted` one, and
    through some state with each of the marks in `visits`.

    Left out are transitions in which one of these events happens, those that gain one of these
    marks, those in which one of the chips `held_still` (bits) moves, those whose label is not in
    `only`, with `system_only` those of actors, of faults, and of observers, and with `only_changes`
    those in place, which lead to the state that they start from.

    `restless` is a chip (number) that moves in the loop and comes to rest nowhere in it, or -1.
    With `after`, loops lie behind a state with one of these marks, with no unwanted mark between.
    With `timeless`, all of the loop is at one moment, and time cannot go on in some state of it:
    where it could, even if a tick changed nothing, it would in the end. With `past_failures`, loops
    may pass a state in which a step fails: as long as it is possible, it is owed like any other.
    """

    wanted: int = 0
    unwanted: int = 0
    after: int = 0
    visits: tuple[int, ...] = ()
    system_only: bool = False
    only_changes: bool = False
    without_events: int = 0
    without_gains: int = 0
    held_still: int = 0
    only: frozenset[int] | None = None
    restless: int = -1
    timeless: bool = False
    past_failures: bool = False

    def allows(self, label: int, moved: int, events: int) -> bool:
        """Whether a loop may have a step of this label, in which these chips move and these events
        happen.
        """
        barred = moved & self.held_still or events & self.without_events
        return not barred and (self.only is None or label in self.only)

    @property
    def moving(self) -> int:
        """The chips (bits) that have to move."""
        return 1 << self.restless if self.restless >= 0 else 0


@dataclass(frozen=True, slots=True)
class FairLoop:
    """A stem, shortest to the state where the loop begins, and the loop back to that state."""

    stem: Path
    loop: Path


@dataclass(frozen=True, slots=True)
class LoopAnswer:
    """A fair loop, or None; then `rests_on` are the fairness sets (numbers) without which there
    would be one.
    """

    loop: FairLoop | None
    rests_on: frozenset[int] = frozenset()


class NotSearched(Exception):
    """Whether there is a loop is not known: looking for it takes too much, as `why` says."""

    def __init__(self, why: str = "looking for loops takes too much memory") -> None:
        super().__init__(why)
        self.why = why


class BfsRegion(Protocol):
    """A breadth-first spread: states that are passed on from, and blocked states that were
    entered.
    """

    def first(self, wanted: int, unwanted: int) -> int | None:
        """The nearest state, of those passed on from before those entered, with all wanted marks
        and no unwanted one.
        """

    def first_zero(self, flags: Sequence[int] | Flags) -> int | None:
        """The nearest state that is passed on from and whose flag is 0."""

    def path_to(self, number: int) -> tuple[int, Path]:
        """The start from which a state was reached, and a shortest path from there."""


class Space(Protocol):
    """The states of a product as far as they were explored."""

    product: Product

    @property
    def stopped_by(self) -> str:
        """Why the exploration stopped early, or nothing."""

    @property
    def failures(self) -> dict[tuple[str, str], Sighting]:
        """The failing steps, by code and subject of the finding."""

    @property
    def occupied(self) -> list[set[int]]:
        """For each chip the leaves that it is ever in."""

    @property
    def layers(self) -> list[int]:
        """How many states there are of each depth, the last layer perhaps not whole."""

    @property
    def complete(self) -> bool:
        """Whether every reachable state was expanded."""

    @property
    def observed(self) -> Observed:
        """Rules taken, and which event met which chip in which leaf."""

    @property
    def state_count(self) -> int:
        """States found."""

    @property
    def transitions(self) -> int:
        """Distinct triples of state, label and next state."""

    @property
    def expanded(self) -> int:
        """How many states, the first ones, were expanded."""

    @property
    def starts(self) -> Sequence[int]:
        """The numbers of all states in which the device may begin."""

    @property
    def depth(self) -> int:
        """The greatest distance from the initial state."""

    def state(self, number: int) -> State:
        """The values of a state's fields."""

    def states_at(self, numbers: Sequence[int]) -> list[State]:
        """The values of the fields of some states."""

    def column(self, field: int, count: int) -> list[int]:
        """The values of one field in the first `count` states."""

    def is_expanded(self, number: int) -> bool:
        """Whether the transitions of a state are known."""

    def depth_of(self, number: int) -> int:
        """The breadth-first distance of a state from the initial state."""

    def mark(self, condition: str) -> int:
        """The bit of a condition of the product."""

    def marks_at(self, number: int) -> int:
        """The bits of all conditions that hold in a state."""

    def combinations(self) -> dict[int, Occurrence]:
        """Every set of marks that some state has."""

    def numbered(self, wanted: int, unwanted: int = 0) -> Iterator[int]:
        """States with all wanted marks and no unwanted one, shallowest first."""

    def quiescent(self, unwanted: int) -> Iterator[int]:
        """Expanded states without unwanted marks in which no chip and no link keeps the device
        going (see `modecheck.engine.reference.system_actions`).
        """

    def path_to(self, number: int) -> Path:
        """A shortest path from the initial state; from any one of several, of which its first
        entry tells, with `start_label`.
        """

    def edges_from(self, number: int) -> list[Edge]:
        """The transitions of a state, in the interpreter's order."""

    def first_loss(self, marks: int, *, without_events: int) -> tuple[int, Edge] | None:
        """The first state with some of these marks from which a transition loses one of them,
        unless one of the events happens in it.
        """

    def first_change(self, before: int, after: int) -> tuple[int, Edge] | None:
        """The first state with the mark `before` from which a transition leads to one with the mark
        `after`.
        """

    def foresee(self, goals: Iterable[ReachGoal]) -> None:
        """Search for goals that will be asked for, all at once."""

    def can_reach(self, goal: ReachGoal) -> Sequence[int] | Flags:
        """For each state 1 if a path leads from it to the goal."""

    def can_reach_states(self, numbers: Iterable[int]) -> Sequence[int] | Flags:
        """For each state 1 if a path leads to one of these states."""

    def stuck(self, chips: int) -> Iterator[tuple[int, int]]:
        """States from which some of these chips (bits) never move again but in place, and the bits
        of those.
        """

    def bfs(self, starts: int, *, blocked: int) -> BfsRegion:
        """Spread from all states with a mark of `starts` through states without blocked marks."""

    def bfs_from_each(self, starts: Sequence[int], *, blocked: int) -> Sequence[BfsRegion]:
        """The same from each of some marks, all at the same time where there are threads."""

    def spread_from_initial(self, starts: int, *, blocked: int) -> BfsRegion:
        """The same, but nearest is counted from the initial state, through one of the starts.
        Blocked states are not entered at all.
        """

    def longest(self, starts: int, *, blocked: int, unturned: int = 0) -> int | None:
        """The most steps of chips and links, none in place, that a run can have after a state with
        a mark of `starts`, until it enters one with a blocked mark or they have nothing left to do.
        None when it can have any number, or when not all is known. A step to the same state is in
        place if its turn is `unturned`.
        """

    def first_between(self, starts: int, *, blocked: int, events: int) -> tuple[int, Edge] | None:
        """The first transition with one of these events that leaves a state with a mark of
        `starts` or one behind it, before a state with a blocked mark.
        """

    def fair_loop(self, query: LoopQuery) -> LoopAnswer:
        """A loop that a device can go round for ever although it is fair. A loop passes no state
        whose future is unknown.
        """

    def shadows(self, curious: frozenset[int]) -> dict[int, int]:
        """For rules that are never taken although their own guards hold somewhere, the earlier rule
        that is taken instead, or else `BLOCKED`, where their links are full.
        """


class Flags(Protocol):
    """A flag for each state, which knows where the first 0 is."""

    def __getitem__(self, number: int, /) -> int:
        """The flag of a state."""

    def first_zero(self) -> int | None:
        """The number of the shallowest state whose flag is 0."""


def first_zero(flags: Sequence[int] | Flags) -> int | None:
    """The number of the first state whose flag is 0."""
    if not isinstance(flags, Sequence):
        return flags.first_zero()
    if isinstance(flags, (bytes, bytearray)):
        found = flags.find(0)
        return None if found < 0 else found
    return next((number for number, flag in enumerate(flags) if not flag), None)
