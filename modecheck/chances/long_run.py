"""The long run of a chain: its recurrent classes, and the share of time in each state.

Stationary distributions: Kemeny & Snell 1960, chapter IV (from memory); with steps that take time,
each state is weighted by the time spent in it. A chain with several recurrent classes ends in one
of them: each has its own distribution, and the chance of ending in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from modecheck.chances.chain import Chain
from modecheck.chances.components import components
from modecheck.chances.reaching import reached
from modecheck.chances.solving import MOST_EXACT, Number, Row, solve

ZERO = Fraction(0)
MOST_CLASSES = 100
"""Classes whose distributions are computed: each has its own system of equations."""


@dataclass(frozen=True, slots=True)
class Class:
    """A set of states that is never left. `chance` is that of ending in it; `visits` is the share
    of steps, `time` the share of time in each state, None if no time passes.
    """

    chance: Number
    visits: dict[int, Number]
    time: dict[int, Number] | None
    exact: bool
    residual: float


def recurrent_classes(chain: Chain, most: int = MOST_EXACT) -> list[Class] | None:
    """All classes of a chain with one start, in the order of their first states; None if there
    are more than `MOST_CLASSES`.
    """
    parts = components([[arc.target for arc in arcs] for arcs in chain.arcs])
    closed = [part for part in parts if _is_closed(chain, part)]
    if len(closed) > MOST_CLASSES:
        return None
    return [_class(chain, part, most) for part in sorted(closed, key=min)]


def _is_closed(chain: Chain, part: set[int]) -> bool:
    return all(arc.target in part for number in part for arc in chain.arcs[number])


def _class(chain: Chain, part: set[int], most: int) -> Class:
    end = reached(chain, part.__contains__, most=most)
    (start,) = end.starts
    states = sorted(part)
    first, others = states[0], states[1:]
    position = {number: place for place, number in enumerate(others)}
    rows: list[Row] = [{} for _ in others]
    right = [ZERO] * len(others)
    for number in states:
        for arc in chain.arcs[number]:
            if arc.target in position:
                place = position[arc.target]
                if number == first:
                    right[place] += arc.probability
                else:
                    row = rows[place]
                    row[position[number]] = row.get(position[number], ZERO) + arc.probability
    found = solve(rows, right, most)
    visits = _shared({first: Fraction(1), **dict(zip(others, found.values, strict=True))})
    stays = {
        number: sum((arc.probability * arc.duration for arc in chain.arcs[number]), ZERO)
        for number in states
    }
    time: dict[int, Number] | None = None
    if not chain.arcs[first]:
        time = {first: Fraction(1)}
    elif any(stays.values()):
        time = _shared({number: _times(visits[number], stays[number]) for number in states})
    return Class(
        start.chance, visits, time, end.exact and found.exact, max(end.residual, found.residual)
    )


def _times(one: Number, other: Fraction) -> Number:
    return one * other if isinstance(one, Fraction) else one * float(other)


def _shared(amounts: dict[int, Number]) -> dict[int, Number]:
    total = sum(amounts.values())
    return {number: amount / total for number, amount in amounts.items()}
