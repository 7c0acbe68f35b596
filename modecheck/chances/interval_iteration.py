"""The least and the greatest chance of reaching a goal, over all ways to choose, between bounds.

A Markov decision process: in each state one of several alternatives is chosen, and the alternative
leads on with known probabilities. Bounds from below and from above close in on the chance (Haddad
and Monmege, Interval iteration algorithm for MDPs and IMDPs, Theoretical Computer Science 735,
2018). From above this ends only if there is no set of states in which one could choose to stay for
ever: for the greatest chance such sets become one state each; for the least, whoever can choose
never to reach the goal does so. (Sets of this kind, maximal end components: de Alfaro, Formal
verification of probabilistic systems, 1997; from memory.)

Both bounds are proven ones: every sum is rounded outwards, so whatever is lost to floating point
makes the interval wider, and never wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf, nextafter
from typing import TypeAlias

from modecheck.chances.components import components

CLOSE = 1e-9
"""The width of an interval that is good enough: tables show six digits."""

MOST_SWEEPS = 20_000
"""Times that all states are computed anew; the interval then stays as wide as it is."""

MOST_WORK = 20_000_000
"""Steps added up, which takes half a minute; fewer sweeps then."""

Alternative: TypeAlias = Sequence[tuple[int, Fraction]]
"""Targets with their probabilities. A target below 0 never leads to the goal."""


Best: TypeAlias = Callable[[Iterable[float]], float]
"""`min` or `max`: which alternative is chosen."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """A chance between two bounds."""

    low: float
    high: float


def greatest_chance(
    choices: Sequence[Sequence[Alternative]], goal: Collection[int], start: int = 0
) -> Bounds:
    """Of reaching the goal, if every choice is made to reach it. `choices[s]` are the alternatives
    in state `s`; without any, it is never left.
    """
    sure = _surely_reached(choices, goal)
    never = set(range(len(choices))) - _able(choices, goal)
    whole = _Collapsed(choices, sure, never)
    return whole.closing_in(start, max)


def least_chance(
    choices: Sequence[Sequence[Alternative]], goal: Collection[int], start: int = 0
) -> Bounds:
    """The same, if every choice is made to avoid it."""
    avoiding = _avoided(choices, goal)
    lost = avoiding | _able(choices, avoiding, past=goal, lost=True)
    sure = set(range(len(choices))) - lost | set(goal)
    return _Collapsed(choices, sure, avoiding, whole=False).closing_in(start, min)


def _able(
    choices: Sequence[Sequence[Alternative]],
    goal: Collection[int],
    *,
    past: Collection[int] = (),
    lost: bool = False,
) -> set[int]:
    """The states from which a path leads to the goal, not going on from those in `past`; with
    `lost`, a step that leads nowhere counts as one to the goal.
    """
    sources: list[list[int]] = [[] for _ in choices]
    found = set(goal)
    for number, alternatives in enumerate(choices):
        for target in (target for one in alternatives for target, _ in one):
            if number not in past and target >= 0:
                sources[target].append(number)
            elif number not in past and lost:
                found.add(number)
    todo = list(found)
    while todo:
        for source in sources[todo.pop()]:
            if source not in found:
                found.add(source)
                todo.append(source)
    return found


def _surely_reached(choices: Sequence[Sequence[Alternative]], goal: Collection[int]) -> set[int]:
    """The states in which one can choose so that the goal is reached with certainty: the largest
    set in which a path to the goal needs only alternatives that do not leave the set.
    """
    sure = set(range(len(choices)))
    while True:
        inside = [
            [one for one in alternatives if all(target in sure for target, _ in one)]
            if number in sure
            else []
            for number, alternatives in enumerate(choices)
        ]
        fewer = _able(inside, goal) & sure | set(goal)
        if fewer == sure:
            return sure
        sure = fewer


def _avoided(choices: Sequence[Sequence[Alternative]], goal: Collection[int]) -> set[int]:
    """The states in which one can choose so that the goal is never reached."""
    inside = set(range(len(choices))) - set(goal)
    while True:
        leaving = {
            number
            for number in inside
            if choices[number]
            and all(any(t >= 0 and t not in inside for t, _ in one) for one in choices[number])
        }
        if not leaving:
            return inside
        inside -= leaving


class _Collapsed:
    """The states whose chance is not known from the graph. Where one could choose to stay among
    some of them, they are one.
    """

    def __init__(
        self,
        choices: Sequence[Sequence[Alternative]],
        sure: set[int],
        never: set[int],
        *,
        whole: bool = True,
    ) -> None:
        self._sure, self._never = sure, never
        open_states = [n for n in range(len(choices)) if n not in sure and n not in never]
        parts = _end_components(choices, open_states) if whole else [{n} for n in open_states]
        self._part = {number: place for place, part in enumerate(parts) for number in part}
        self._rows = [self._row(choices, part) for part in parts]

    def _row(
        self, choices: Sequence[Sequence[Alternative]], part: set[int]
    ) -> list[tuple[list[tuple[int, float, float]], float, float]]:
        """Each alternative that can leave the part: other parts with the probability, rounded down
        and up, and the probability of being sure at once.
        """
        row = []
        for number in sorted(part):
            for one in choices[number]:
                if all(target in part for target, _ in one):
                    continue
                shares: dict[int, Fraction] = {}
                sure = Fraction(0)
                for target, probability in one:
                    if target in self._sure:
                        sure += probability
                    elif target in self._part:
                        place = self._part[target]
                        shares[place] = shares.get(place, Fraction(0)) + probability
                known = [(place, _down(p), _up(p)) for place, p in shares.items()]
                row.append((known, _down(sure), _up(sure)))
        return row

    def closing_in(self, start: int, best: Best) -> Bounds:
        """The bounds of the chance in a state: zero and one at first, and closer with each sweep,
        until they are `CLOSE`, or stay as they are.
        """
        if start in self._sure:
            return Bounds(1.0, 1.0)
        if start in self._never:
            return Bounds(0.0, 0.0)
        low, high = [0.0] * len(self._rows), [1.0] * len(self._rows)
        here = self._part[start]
        size = sum(len(known) + 1 for row in self._rows for known, _, _ in row)
        order = range(len(self._rows) - 1, -1, -1)  # states are in breadth-first order
        for _ in range(min(MOST_SWEEPS, MOST_WORK // size + 1)):
            moved = False
            for place in order:
                below = best(_sum_down(known, sure, low) for known, sure, _ in self._rows[place])
                above = best(_sum_up(known, sure, high) for known, _, sure in self._rows[place])
                if below > low[place] or above < high[place]:
                    moved = True
                    low[place] = max(below, low[place])
                    high[place] = min(above, high[place])
            if high[here] - low[here] <= CLOSE or not moved:
                break
        return Bounds(low[here], high[here])


def _sum_down(known: list[tuple[int, float, float]], sure: float, values: list[float]) -> float:
    total = sure
    for place, probability, _ in known:
        total = nextafter(total + nextafter(probability * values[place], 0.0), 0.0)
    return total


def _sum_up(known: list[tuple[int, float, float]], sure: float, values: list[float]) -> float:
    total = sure
    for place, _, probability in known:
        total = nextafter(total + nextafter(probability * values[place], inf), inf)
    return min(total, 1.0)


def _down(value: Fraction) -> float:
    """The largest float that is no more."""
    near = float(value)
    return nextafter(near, 0.0) if Fraction(near) > value else near


def _up(value: Fraction) -> float:
    near = float(value)
    return nextafter(near, inf) if Fraction(near) < value else near


def _end_components(
    choices: Sequence[Sequence[Alternative]], states: Collection[int]
) -> list[set[int]]:
    """The maximal sets of these states in which one can choose to stay and reach every one of them;
    each other state is alone.
    """
    alternatives = {number: list(choices[number]) for number in states}
    part = dict.fromkeys(states, 0)
    while True:
        for number, ones in alternatives.items():
            alternatives[number] = [
                one for one in ones if all(part.get(t, -1) == part[number] for t, _ in one)
            ]
        successors = [
            [target for one in alternatives.get(number, ()) for target, _ in one]
            for number in range(len(choices))
        ]
        found = [members for members in components(successors) if members & part.keys()]
        now = {number: place for place, members in enumerate(found) for number in members}
        if len(found) == len(set(part.values())):
            return sorted(found, key=min)
        part = now
