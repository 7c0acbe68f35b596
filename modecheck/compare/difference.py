"""Where two systems that are not equivalent differ, in words and as a run.

Both are explored together, breadth first, over pairs of sets of states: those that the one can have
reached after some visible events, and those that the other can. The first pair in which an event is
possible on one side only gives a shortest sequence that one can do and the other cannot (the subset
construction, Rabin & Scott 1959; from memory). If there is none, both can do the same sequences,
and the result is the first pair in which their choices differ: the one can have reached a state in
which only some events can follow, whereas the other can then always do something else (a failure in
the sense of Brookes, Hoare & Roscoe 1984, from memory, except that divergence is ignored). If there
is none of that either, the result is the first pair in which the one can have lost some events
forever, of which the other can always still reach one.

Where divergence was made visible (`silent_cycles`), it is an event that ends a sequence: nothing is
done after it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from modecheck.compare.labelled import SILENT, Array, LabelledSystem, side_by_side
from modecheck.compare.refinement import Classes, Equivalence, classes_of, quotient
from modecheck.compare.silent_cycles import FOREVER
from modecheck.compare.visible import FAILS

MOST_PAIRS = 50_000
"""Pairs of sets that are explored: a few seconds. There can be exponentially many."""

States = frozenset[int]
Pair = tuple[States, States]
Came = dict[Pair, tuple[Pair, int] | None]
"""From which pair, and by which label, each pair was found."""


class How(Enum):
    """The kind of difference between two systems."""

    SEQUENCE = "sequence"
    DIVERGENCE = "divergence"
    CHOICE = "choice"
    LOSS = "loss"
    SILENT_CHOICE = "silent choice"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class BehaviourDifference:
    """How two systems that are not branching equivalent differ.

    After the events `after`, one of them (the first, if `by_first`) can do what the other cannot:
    `event`, for a sequence; for a divergence, go on forever silently; for a choice, reach a state
    in which only `offers` can follow; for a loss, reach a state after which none of `lost` can ever
    follow. `UNKNOWN` means that there are more pairs of sets than are explored.
    """

    how: How
    after: tuple[str, ...] = ()
    event: str = ""
    offers: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    by_first: bool = True

    @property
    def events(self) -> tuple[str, ...]:
        """A shortest sequence that shows the difference."""
        return (*self.after, self.event) if self.event else self.after

    def sentence(self, first: str = "the first", second: str = "the second") -> str:
        """The difference in words."""
        who, other = (first, second) if self.by_first else (second, first)
        before = f"after {', '.join(self.after)}, " if self.after else "from the start, "
        if self.how is How.SEQUENCE and self.event.strip("“”") == FAILS:
            return f"{before}a step of {who} can fail, and none of {other} can"
        if self.how is How.SEQUENCE:
            return f"{before}{who} can do {self.event}, and {other} cannot"
        if self.how is How.DIVERGENCE:
            return f"{before}{who} can go on forever without a visible event, and {other} cannot"
        if self.how is How.CHOICE:
            only = f"only {' or '.join(self.offers)}" if self.offers else "nothing"
            return (
                f"both can do the same sequences, but their choices differ: {before}{who} can "
                f"reach a state in which {only} can follow; {other} can then always do "
                "something else"
            )
        if self.how is How.LOSS:
            return (
                f"both can do the same sequences, but what remains reachable differs: {before}"
                f"{who} can reach a state after which {' or '.join(self.lost)} can never follow; "
                f"{other} can then always still reach one of these"
            )
        if self.how is How.SILENT_CHOICE:
            return (
                "both can do the same sequences, and after each of them the same events can be "
                "refused; they differ in when the choice between them is made"
            )
        return f"they differ, but not within the first {MOST_PAIRS:,} pairs of sets of states"


def difference(one: LabelledSystem, other: LabelledSystem) -> BehaviourDifference | None:
    """How two systems differ; None if they are branching equivalent.

    Classes are explored instead of states: branching equivalent states can do the same.
    """
    pair = side_by_side(one, other)
    classes = classes_of(pair.both, Equivalence.BRANCHING)
    begins, other_begins = (
        int(classes.of[state]) for state in (pair.both.initial, pair.other_initial)
    )
    if begins == other_begins:
        return None
    followed = _Followed(quotient(pair.both, Classes(classes.of, classes.count)))
    return followed.difference(begins, other_begins)


class _Followed:
    """A small system, with what is already known about it."""

    def __init__(self, system: LabelledSystem) -> None:
        self._names = system.names
        self._forever = system.names.index(FOREVER) if FOREVER in system.names else -1
        self._steps: list[dict[int, set[int]]] = [{} for _ in range(system.count)]
        rows = zip(
            system.sources.tolist(), system.labels.tolist(), system.targets.tolist(), strict=True
        )
        for source, label, target in rows:
            self._steps[source].setdefault(label, set()).add(target)
        self._behind: dict[int, States] = {}
        self._ever = self._all_that_follow()

    def _all_that_follow(self) -> list[frozenset[int]]:
        """For each state the visible labels that can ever follow."""
        before: list[list[int]] = [[] for _ in self._steps]
        for source, steps in enumerate(self._steps):
            for target in set().union(*steps.values()):
                before[target].append(source)
        ever = [frozenset(steps) - {SILENT} for steps in self._steps]
        pending = list(range(len(ever)))
        while pending:
            state = pending.pop()
            for source in before[state]:
                if not ever[state] <= ever[source]:
                    ever[source] |= ever[state]
                    pending.append(source)
        return ever

    def difference(self, one: int, other: int) -> BehaviourDifference:
        start = (self._silently({one}), self._silently({other}))
        came: Came = {start: None}
        pending = deque([start])
        choice: BehaviourDifference | None = None
        loss: BehaviourDifference | None = None
        while pending:
            pair = pending.popleft()
            mine, theirs = (self._offers(states) for states in pair)
            # What the other one can do comes first: a reviewer wants to know what can happen now.
            for label in sorted(mine ^ theirs, key=lambda one: self._rank(one, one in mine)):
                return self._not_shared(self._after(came, pair), label, by_first=label in mine)
            choice = choice or self._choice(came, pair)
            loss = loss or self._loss(came, pair)
            for label in sorted(mine - {self._forever}, key=self._names.__getitem__):
                further = (self._behind_event(pair[0], label), self._behind_event(pair[1], label))
                if further[0] != further[1] and further not in came:
                    if len(came) >= MOST_PAIRS:
                        return BehaviourDifference(How.UNKNOWN)
                    came[further] = (pair, label)
                    pending.append(further)
        return choice or loss or BehaviourDifference(How.SILENT_CHOICE)

    def _rank(self, label: int, *by_first: bool) -> tuple[object, ...]:
        """What happens comes before that nothing does any more."""
        return label == self._forever, *by_first, self._names[label]

    def _not_shared(
        self, after: tuple[str, ...], label: int, *, by_first: bool
    ) -> BehaviourDifference:
        if label == self._forever:
            return BehaviourDifference(How.DIVERGENCE, after, by_first=by_first)
        return BehaviourDifference(How.SEQUENCE, after, self._names[label], by_first=by_first)

    def _choice(self, came: Came, pair: Pair) -> BehaviourDifference | None:
        """Where one side can have come although the other can always do something else."""
        for by_first, (mine, theirs) in ((True, pair), (False, pair[::-1])):
            bad = _not_matched(
                {self._offers(self._silently_from(state)) for state in mine},
                {self._offers(self._silently_from(state)) for state in theirs},
            )
            if bad:
                offers = min(sorted(self._names[label] for label in own) for own in bad)
                after = self._after(came, pair)
                return BehaviourDifference(
                    How.CHOICE, after, offers=tuple(offers), by_first=by_first
                )
        return None

    def _loss(self, came: Came, pair: Pair) -> BehaviourDifference | None:
        """Where one side can have lost something for ever that the other keeps within reach."""
        for by_first, (mine, theirs) in ((True, pair), (False, pair[::-1])):
            others = {self._ever[state] for state in theirs}
            bad = _not_matched({self._ever[state] for state in mine}, others)
            if bad:
                kept = frozenset().union(*others)
                lost = min(sorted(self._names[label] for label in kept - own) for own in bad)
                after = self._after(came, pair)
                return BehaviourDifference(How.LOSS, after, lost=tuple(lost), by_first=by_first)
        return None

    def shows(self, found: BehaviourDifference) -> list[bool]:
        """For each state whether only what is offered can follow, or nothing of what is lost."""
        lost = {self._names.index(name) for name in found.lost if name in self._names}
        if found.how is How.LOSS:
            return [not lost & ever for ever in self._ever]
        offers = {self._names.index(name) for name in found.offers if name in self._names}
        states = range(len(self._steps))
        return [self._offers(self._silently_from(state)) <= offers for state in states]

    def _silently(self, states: set[int]) -> States:
        return frozenset().union(*(self._silently_from(state) for state in states))

    def _silently_from(self, state: int) -> States:
        if state not in self._behind:
            found, pending = {state}, [state]
            while pending:
                more = self._steps[pending.pop()].get(SILENT, set()) - found
                found |= more
                pending += more
            self._behind[state] = frozenset(found)
        return self._behind[state]

    def _offers(self, states: States) -> frozenset[int]:
        """The visible labels of the steps of some states."""
        return frozenset(label for state in states for label in self._steps[state]) - {SILENT}

    def _behind_event(self, states: States, label: int) -> States:
        targets = (self._steps[state].get(label, set()) for state in states)
        return self._silently(set().union(*targets))

    def _after(self, came: Came, pair: Pair) -> tuple[str, ...]:
        return tuple(self._backwards(came, pair))[::-1]

    def _backwards(self, came: Came, pair: Pair) -> Iterator[str]:
        trace = came[pair]
        while trace is not None:
            pair, label = trace
            yield self._names[label]
            trace = came[pair]


def _not_matched(mine: set[frozenset[int]], theirs: set[frozenset[int]]) -> list[frozenset[int]]:
    """The sets of which none of theirs is a part."""
    return [own for own in mine if not any(their <= own for their in theirs)]


def run_showing(system: LabelledSystem, found: BehaviourDifference) -> list[int] | None:
    """A shortest run of the system that shows a difference: its events are seen, and it ends where
    the choice or the loss shows, or on a cycle of silent steps. None if there is no such run. A
    divergence must be visible in the system where it is one of the difference.
    """
    if found.how is How.DIVERGENCE:
        on_cycle = np.zeros(system.count, bool)
        on_cycle[system.sources[system.labels == system.names.index(FOREVER)]] = True
        return run_of(system, found.after, on_cycle)
    if found.how not in (How.CHOICE, How.LOSS):
        return run_of(system, found.events)
    classes = classes_of(system, Equivalence.BRANCHING)
    shows = _Followed(quotient(system, classes)).shows(found)
    return run_of(system, found.events, np.array(shows, bool)[classes.of])


def silent_cycle(system: LabelledSystem, state: int) -> list[int] | None:
    """A shortest cycle of silent steps from a state, as numbers of transitions; None if there is
    none. A state of its own that has the same steps, and no others into it, is where it begins.
    """
    first = np.flatnonzero(system.sources == state)
    begun = replace(
        system,
        count=system.count + 1,
        initial=system.count,
        sources=np.concatenate([system.sources, np.full(first.size, system.count, np.int32)]),
        labels=np.concatenate([system.labels, system.labels[first]]),
        targets=np.concatenate([system.targets, system.targets[first]]),
    )
    run = run_of(begun, (), np.arange(begun.count) == state)
    return None if run is None else [int(first[run[0] - system.transitions]), *run[1:]]


def run_of(
    system: LabelledSystem, events: tuple[str, ...], ends: Array | None = None
) -> list[int] | None:
    """A shortest run from the initial state in which these events are seen, as numbers of
    transitions; it ends with the last event. None if there is no such run.

    With `ends`, which holds a truth value for each state, it ends in a state for which that is
    true, perhaps some silent steps later. Breadth first over pairs of a state and the number of
    events seen.
    """
    if not set(events) <= set(system.names):
        return None
    wanted = np.array([*(system.names.index(event) for event in events), -1], np.int64)
    order = np.argsort(system.sources, kind="stable")
    first = np.searchsorted(system.sources[order], np.arange(system.count + 1))
    came = np.full(wanted.size * system.count, -1, np.int64)
    goals = np.zeros(wanted.size * system.count, bool)
    goals[len(events) * system.count :] = True if ends is None else ends
    frontier = np.array([system.initial], np.int64)
    came[frontier] = system.transitions
    while frontier.size:
        reached = frontier[goals[frontier]]
        if reached.size:
            return _run_back(system, came, int(reached[-1]))
        seen, states = np.divmod(frontier, system.count)
        edges, counts = _steps_of(states, order, first)
        before, labels = np.repeat(seen, counts), system.labels[edges]
        passes = (labels == SILENT) | (labels == wanted[before])
        nodes = (before + (labels != SILENT)) * system.count + system.targets[edges]
        nodes, edges = nodes[passes], edges[passes]
        fresh = came[nodes] == -1
        frontier, place = np.unique(nodes[fresh], return_index=True)
        came[frontier] = edges[fresh][place]
    return None


def _steps_of(states: Array, order: Array, first: Array) -> tuple[Array, Array]:
    """The transitions of some states, one state after the other, and how many each has."""
    begins, counts = first[states], first[states + 1] - first[states]
    ahead = np.cumsum(counts) - counts
    places = np.arange(counts.sum()) + np.repeat(begins - ahead, counts)
    return order[places], counts


def _run_back(system: LabelledSystem, came: Array, node: int) -> list[int]:
    run: list[int] = []
    while came[node] != system.transitions:
        edge = int(came[node])
        run.append(edge)
        seen = node // system.count - int(system.labels[edge] != SILENT)
        node = seen * system.count + int(system.sources[edge])
    return run[::-1]
