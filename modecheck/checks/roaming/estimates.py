"""How much was seen, and an estimate of what was not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.engine.walking import Tally


@dataclass(frozen=True, slots=True)
class Estimate:
    """Of states visited: `states` in all, `once` and `twice` those visited so often, in `visits`.
    `exact` says whether all were counted; else they are estimated from a sample by their hash
    (adaptive sampling: Flajolet 1990), with an error of about 1.2 / sqrt(number in the sample),
    here far below one in a hundred. Two states with the same 62 bits of hash count as one.
    """

    visits: int
    states: int
    once: int
    twice: int
    exact: bool

    @property
    def unseen_share(self) -> float:
        """The probability that the next visit is to a state not seen before: the share of visits
        that were to states visited only once (Good 1953, who credits Turing; cited from memory).

        It takes visits for independent draws from one distribution. Those of a walk are not, and
        walks prefer what is rare; behind a narrow way there may be any number of states of which no
        sample knows. So it says when going on as before brings little, and no more.
        """
        return self.once / self.visits if self.visits else 1.0

    @property
    def in_all(self) -> int:
        """An estimate of the number of states that such walks can reach: seen + f1^2 / (2 f2)
        (Chao 1984, cited from memory), with f1 (f1 - 1) / 2 where none was visited twice. For
        independent draws it is a lower bound in expectation. Steps of a walk are none, so it may be
        more or less than there are.
        """
        if self.twice:
            return self.states + round(self.once * self.once / (2 * self.twice))
        return self.states + self.once * (self.once - 1) // 2


def estimate_of(tallies: Iterable[Tally]) -> Estimate:
    """The estimate for the walks through all variants together; their states are all different."""
    visits = states = once = twice = 0
    exact = True
    for tally in tallies:
        visits += tally.steps + bool(tally.runs)
        states += tally.kept << tally.halvings
        once += tally.once << tally.halvings
        twice += tally.twice << tally.halvings
        exact = exact and not tally.halvings
    return Estimate(visits, states, once, twice, exact)
