"""Several requirements judged in one exploration, unless that becomes too large."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from modecheck.engine.choice import SWITCH_AT, Search
from modecheck.engine.contract.space import Space
from modecheck.model.parts import Requirement

AT_A_TIME = 12
"""The most requirements that share an exploration, so that the marks of a state fit."""
MOST_TOGETHER = 16
"""How many times larger than the product a shared exploration may become before each requirement
gets its own.
"""
FEWEST_TOGETHER = 20_000
"""States below which that does not matter."""
GROWTH = 4
"""How many times larger than a large product a shared exploration often becomes."""

Explore = Callable[[Sequence[Requirement], Search], Space]


def explored_together(
    needs: Sequence[Requirement], states: int, search: Search, explore: Explore
) -> Iterator[tuple[Requirement, Space | None]]:
    """Each requirement with the exploration that it is judged on, or None where it is to be judged
    alone; `states` are those of the product without any of them.
    """
    for some, how in first_tries(needs, states, search):
        space = explore(some, how) if len(some) > 1 else None
        alone = space is not None and space.stopped_by == how.limits.reached_states
        yield from ((need, None if alone else space) for need in some)


def first_tries(
    needs: Sequence[Requirement], states: int, search: Search
) -> Iterator[tuple[Sequence[Requirement], Search]]:
    """The explorations to begin with, and their bounds: several requirements in one, or each alone
    where the bound of the search leaves no room for a larger one.
    """
    most = max(FEWEST_TOGETHER, MOST_TOGETHER * states)
    limits = search.limits
    expected = GROWTH * states if states > SWITCH_AT else states
    bounded = replace(search, limits=replace(limits, states=most), expected=expected)
    for begin in range(0, len(needs), AT_A_TIME):
        some = needs[begin : begin + AT_A_TIME]
        if len(some) > 1 and (limits.states is None or limits.states > most):
            yield some, bounded
        else:
            yield from (([need], search) for need in some)
