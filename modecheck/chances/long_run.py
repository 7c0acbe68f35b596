"""The long run of a chain: its recurrent classes, and the share of time in each state.

Stationary distributions: Kemeny & Snell 1960, chapter IV (from memory); with steps that take time,
each state is weighted by the time spent in it. A chain with several recurrent classes ends in one
of them: each has its own distribution, and the chance of ending in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from modecheck.chances.chain import Chain
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
    """All classes, in the order of their first states; None if there are more than
    `MOST_CLASSES`.
    """
    closed = [part for part in _components(chain) if _is_closed(chain, part)]
    if len(closed) > MOST_CLASSES:
        return None
    return [_class(chain, part, most) for part in sorted(closed, key=min)]


def _is_closed(chain: Chain, part: set[int]) -> bool:
    return all(arc.target in part for number in part for arc in chain.arcs[number])


def _class(chain: Chain, part: set[int], most: int) -> Class:
    end = reached(chain, part.__contains__, most=most)
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
        end.chance, visits, time, end.exact and found.exact, max(end.residual, found.residual)
    )


def _times(one: Number, other: Fraction) -> Number:
    return one * other if isinstance(one, Fraction) else one * float(other)


def _shared(amounts: dict[int, Number]) -> dict[int, Number]:
    total = sum(amounts.values())
    return {number: amount / total for number, amount in amounts.items()}


def _components(chain: Chain) -> list[set[int]]:
    """Strongly connected components: two depth-first searches (Kosaraju, in Aho, Hopcroft &
    Ullman 1983, from memory), without recursion.
    """
    forward = [[arc.target for arc in arcs if arc.target >= 0] for arcs in chain.arcs]
    backward: list[list[int]] = [[] for _ in forward]
    for number, targets in enumerate(forward):
        for target in targets:
            backward[target].append(number)
    seen: set[int] = set()
    order = [number for start in range(len(forward)) for number in _left(forward, start, seen)]
    seen = set()
    parts = [set(_left(backward, start, seen)) for start in reversed(order)]
    return [part for part in parts if part]


def _left(ways: list[list[int]], start: int, seen: set[int]) -> list[int]:
    """The states found from `start`, in the order in which the search leaves them for good."""
    if start in seen:
        return []
    seen.add(start)
    stack, left = [(start, iter(ways[start]))], []
    while stack:
        number, rest = stack[-1]
        target = next((target for target in rest if target not in seen), None)
        if target is None:
            left.append(number)
            stack.pop()
        else:
            seen.add(target)
            stack.append((target, iter(ways[target])))
    return left
