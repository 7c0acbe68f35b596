"""How much was seen, and an estimate of how much was not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.engine.search.walking import Tally


@dataclass(frozen=True, slots=True)
class Estimate:
    """Visited states: `states` in total, `once` and `twice` those visited once and twice, in
    `visits` visits. `exact` if all were counted; else they are estimated from a sample by their
    hash (adaptive sampling: Flajolet 1990), with an error of about 1.2 / sqrt(number in the
    sample), here far below one in a hundred. Two states with the same 62 bits of hash count as one.
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

        This assumes that visits are independent draws from one distribution. Those of a walk are
        not, and walks prefer what is rare; beyond a rare step there may be any number of states
        that no sample shows. So it indicates when continuing as before finds little more, and
        nothing else.
        """
        return self.once / self.visits if self.visits else 1.0

    @property
    def in_all(self) -> int:
        """An estimate of the number of states that such walks can reach: seen + f1^2 / (2 f2) (Chao
        1984, cited from memory), with f1 (f1 - 1) / 2 where none was visited twice. For independent
        draws it is a lower bound in expectation. Steps of a walk are not independent, so it may be
        too high or too low.
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
