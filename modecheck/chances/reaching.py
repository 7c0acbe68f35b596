"""Chances of reaching a goal, how long it takes, and how often an event happens until then.

Absorption probabilities and mean times to absorption: Kemeny & Snell 1960, chapter III (from
memory).
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from fractions import Fraction

from modecheck.chances.chain import Chain, MarkovStep
from modecheck.chances.solving import MOST_EXACT, Number, Row, solve

ZERO, ONE = Fraction(0), Fraction(1)


@dataclass(frozen=True, slots=True)
class HittingFigures:
    """From the initial state: how likely; and, if that is certain, steps and seconds until then,
    and how often the event happens. `certain` follows from the graph of the chain.
    """

    chance: Number
    certain: bool
    steps: Number | None
    seconds: Number | None
    events: Number | None
    exact: bool
    residual: float


def reached(
    chain: Chain, goal: Callable[[int], bool], event: int = 0, most: int = MOST_EXACT
) -> HittingFigures:
    """The figures for reaching a goal."""
    ends = {number for number in range(len(chain.states)) if goal(number)}
    able = _able(chain, ends)
    if 0 in ends:
        return HittingFigures(ONE, True, ZERO, ZERO, ZERO, exact=True, residual=0.0)
    if 0 not in able:
        return HittingFigures(ZERO, False, None, None, None, exact=True, residual=0.0)
    before = _before(chain, ends)
    certain = before <= able and not any(a.target < 0 for n in before for a in chain.arcs[n])
    inner = sorted(before & able)
    position = {number: place for place, number in enumerate(inner)}
    rows = [_row(chain.arcs[number], position) for number in inner]

    def total(gain: Callable[[MarkovStep], Fraction]) -> tuple[Number, bool, float]:
        right = [sum((a.probability * gain(a) for a in chain.arcs[n]), ZERO) for n in inner]
        found = solve(rows, right, most)
        return found.values[position[0]], found.exact, found.residual

    chance, exact, residual = total(lambda arc: ONE if arc.target in ends else ZERO)
    if not certain:
        return HittingFigures(chance, False, None, None, None, exact, residual)
    sums = [
        total(lambda _: ONE),
        total(lambda arc: arc.duration),
        total(lambda arc: ONE if arc.events & event else ZERO),
    ]
    worst = max(residual, *(one[2] for one in sums))
    return HittingFigures(ONE, True, sums[0][0], sums[1][0], sums[2][0], exact, worst)


def _row(arcs: Collection[MarkovStep], position: dict[int, int]) -> Row:
    row: Row = {}
    for arc in arcs:
        if arc.target in position:
            place = position[arc.target]
            row[place] = row.get(place, ZERO) + arc.probability
    return row


def _before(chain: Chain, ends: set[int]) -> set[int]:
    """The states on the way from the initial one, up to the goal."""
    seen, todo = {0}, [0]
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


def _able(chain: Chain, ends: set[int]) -> set[int]:
    """The states from which a way leads to the goal."""
    sources: list[list[int]] = [[] for _ in chain.states]
    for number, arcs in enumerate(chain.arcs):
        for arc in arcs:
            if arc.target >= 0:
                sources[arc.target].append(number)
    seen, todo = set(ends), list(ends)
    while todo:
        for source in sources[todo.pop()]:
            if source not in seen:
                seen.add(source)
                todo.append(source)
    return seen
