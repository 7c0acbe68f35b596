"""Chances of reaching a goal, how long it takes, and how often an event happens until then.

Absorption probabilities and mean times to absorption: Kemeny & Snell 1960, chapter III (from
memory).
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from modecheck.chances.chain import Chain, MarkovStep
from modecheck.chances.solving import MOST_EXACT, Number, Row, solve

ZERO, ONE = Fraction(0), Fraction(1)


@dataclass(frozen=True, slots=True)
class HittingFigures:
    """From one start: how likely; and, if that is certain, steps and seconds until then, and how
    often the event happens. `certain` follows from the graph of the chain.
    """

    chance: Number
    certain: bool
    steps: Number | None
    seconds: Number | None
    events: Number | None


class Hits(NamedTuple):
    """The figures of each start of a chain, in order, and the largest error of all equations."""

    starts: tuple[HittingFigures, ...]
    exact: bool
    residual: float


def reached(
    chain: Chain, goal: Callable[[int], bool], event: int = 0, most: int = MOST_EXACT
) -> Hits:
    """The figures for reaching a goal from each start."""
    ends = {number for number in range(len(chain.states)) if goal(number)}
    able, before = _able(chain, ends), _before(chain, ends)
    failing = {n for n in before if any(arc.target < 0 for arc in chain.arcs[n])}
    uncertain = _able(chain, before - able | failing, within=before)
    chances = _Totals(chain, before & able, most)
    means = _Totals(chain, before - uncertain, most)
    chance = chances.of(lambda arc: ONE if arc.target in ends else ZERO)
    steps = means.of(lambda _: ONE)
    seconds = means.of(lambda arc: arc.duration)
    events = means.of(lambda arc: ONE if arc.events & event else ZERO)

    def hit(start: int) -> HittingFigures:
        if start in ends:
            return HittingFigures(ONE, True, ZERO, ZERO, ZERO)
        if start in uncertain:
            return HittingFigures(chance.get(start, ZERO), False, None, None, None)
        return HittingFigures(ONE, True, steps[start], seconds[start], events[start])

    starts = tuple(hit(start) for start in range(chain.starts))
    residual = max(chances.residual, means.residual)
    return Hits(starts, chances.exact and means.exact, residual)


class _Totals:
    """Solves for what some states gain, on the average, by the steps until all of them are left."""

    def __init__(self, chain: Chain, states: set[int], most: int) -> None:
        self._chain, self._most = chain, most
        self._states = sorted(states)
        position = {number: place for place, number in enumerate(self._states)}
        self._rows = [_row(chain.arcs[number], position) for number in self._states]
        self.exact, self.residual = True, 0.0

    def of(self, gain: Callable[[MarkovStep], Fraction]) -> dict[int, Number]:
        """The mean sum of the gains of all steps, from each of the states."""
        arcs = (self._chain.arcs[number] for number in self._states)
        right = [sum((a.probability * gain(a) for a in own), ZERO) for own in arcs]
        found = solve(self._rows, right, self._most)
        self.exact, self.residual = found.exact, max(self.residual, found.residual)
        return dict(zip(self._states, found.values, strict=True))


def _row(arcs: Collection[MarkovStep], position: dict[int, int]) -> Row:
    row: Row = {}
    for arc in arcs:
        if arc.target in position:
            place = position[arc.target]
            row[place] = row.get(place, ZERO) + arc.probability
    return row


def _before(chain: Chain, ends: set[int]) -> set[int]:
    """The states on the way from all starts, up to the goal."""
    seen = set(range(chain.starts)) - ends
    todo = list(seen)
    while todo:
        for arc in chain.arcs[todo.pop()]:
            if arc.target >= 0 and arc.target not in seen and arc.target not in ends:
                seen.add(arc.target)
                todo.append(arc.target)
    return seen


def able_to(chain: Chain, event: int) -> set[int]:
    """The states from which a step with this event can be reached."""
    last = {
        number for number, arcs in enumerate(chain.arcs) if any(arc.events & event for arc in arcs)
    }
    return _able(chain, last)


def _able(chain: Chain, ends: set[int], *, within: set[int] | None = None) -> set[int]:
    """The states from which a way leads to the goal, all along it in `within` if that is given."""
    sources: list[list[int]] = [[] for _ in chain.states]
    for number in range(len(chain.states)) if within is None else within:
        for arc in chain.arcs[number]:
            if arc.target >= 0:
                sources[arc.target].append(number)
    seen, todo = set(ends), list(ends)
    while todo:
        for source in sources[todo.pop()]:
            if source not in seen:
                seen.add(source)
                todo.append(source)
    return seen
