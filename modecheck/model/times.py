"""Times in a model: intervals, named timers, and the clock that counts them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from modecheck.model.places import Place


@dataclass(frozen=True, slots=True)
class Duration:
    """An interval of time in seconds, exact; `text` as written, with a place for each of its
    two ends. `high` is None if there is no latest time.
    """

    low: Fraction
    high: Fraction | None
    text: str
    places: tuple[Place, Place]

    @property
    def moments(self) -> tuple[Fraction, ...]:
        """Its ends, without a missing latest time."""
        return (self.low,) if self.high is None else (self.low, self.high)


@dataclass(frozen=True, slots=True)
class Timer:
    """A timer of a chip that rules start and stop, independent of states, and its duration."""

    name: str
    duration: Duration
    place: Place


@dataclass(frozen=True, slots=True)
class Clock:
    """Time is counted in ticks of `tick` seconds. `at_once` names the parts that act before time
    passes: "chips" (rules that wait for nothing), "links" (deliveries without a delay).
    """

    tick: Fraction
    at_once: frozenset[str]
    place: Place

    def ticks(self, seconds: Fraction) -> int:
        """A time in ticks; it must be a multiple of one tick."""
        count = seconds / self.tick
        assert count.denominator == 1, "the reader has rejected other durations"
        return count.numerator
