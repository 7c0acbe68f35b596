"""Which of several steps that can happen at one moment happens first, and which did not before it.

Each happens with a probability of its own, whatever the others do. They are asked one after the
other, in any order with equal probability; the first that happens changes the state, and those that
were asked before it are not asked again at this moment.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import combinations
from math import factorial, prod

MOST_IN_ANY_ORDER = 8
"""Steps that are asked in any order; more, of which there would be too many orders, in theirs."""

ONE = Fraction(1)


def happening_first(chances: Sequence[Fraction]) -> Iterator[tuple[int, tuple[int, ...], Fraction]]:
    """The number of a step, those that were asked before it in vain, and how likely that is."""
    count = len(chances)
    for first, chance in enumerate(chances):
        others = [number for number in range(count) if number != first and chances[number] < 1]
        if count > MOST_IN_ANY_ORDER:
            earlier = tuple(range(first))
            yield first, earlier, chance * _none(chances, earlier)
            continue
        for size in range(len(others) + 1):
            orders = Fraction(factorial(size) * factorial(count - 1 - size), factorial(count))
            for before in combinations(others, size):
                yield first, before, chance * orders * _none(chances, before)


def _none(chances: Sequence[Fraction], some: Sequence[int]) -> Fraction:
    """How likely it is that none of some happens."""
    return prod((1 - chances[number] for number in some), start=ONE)
