"""How time passes in a state of the discrete part: for how long it may, and what turns over.

Zones hold whole numbers of ticks, as digital clocks do. So what has to be strictly later is at
least a tick later, and both ways of counting time reach the same states, also where a moment
passes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from modecheck.engine.reference.plain import State
from modecheck.engine.zones import dbm
from modecheck.engine.zones.dbm import Zone
from modecheck.engine.zones.untimed import Possible, Untimed
from modecheck.engine.zones.zone_clocks import BoundsInForce, ClockBounds, NotZonable, Running


@dataclass(frozen=True, slots=True)
class UrgencyBound:
    """Time cannot go on while a clock (its index in zones) is from `low` to `high` ticks. A zone is
    cut in two behind `first`: up to there a clock can come to `low`.
    """

    index: int
    low: int
    high: int | None
    first: int


@dataclass(frozen=True, slots=True)
class Situation:
    """A state of the discrete part with all that is the same in its zones."""

    state: State
    running: tuple[Running, ...]
    possible: tuple[Possible, ...]
    urgency_bounds: tuple[UrgencyBound, ...]
    stands: bool
    """Time cannot pass at all."""

    @property
    def n(self) -> int:
        """The clocks of its zones, the one that is always 0 included."""
        return len(self.running) + 1

    @property
    def most(self) -> tuple[int, ...]:
        return (0, *(clock.most for clock in self.running))

    @property
    def turning(self) -> tuple[int, ...]:
        """The indexes of clocks that turn over when they have come to their last moment."""
        return tuple(n for n, clock in enumerate(self.running, 1) if clock.behind is not None)

    def index(self, field: int) -> int:
        """The index of a clock in zones."""
        return next(n for n, clock in enumerate(self.running, 1) if clock.field == field)


class ZonePart(NamedTuple):
    """Moments from which time goes on alike: those at which a state is entered and these bounds
    hold, and all later ones as long as clocks (indexes) are at most at their `caps`.
    """

    zone: Zone
    entered: tuple[ClockBounds, ...] = ()
    caps: tuple[tuple[int, int], ...] = ()
    stands: bool = False


class ClockTurnover(NamedTuple):
    """A tick with which clocks (indexes) turn over that are at their last moment; these bounds (by
    index) hold right before it.
    """

    zone: Zone
    turned: tuple[int, ...]
    bounds: tuple[ClockBounds, ...]


def situation_of(untimed: Untimed, state: State, running: tuple[Running, ...]) -> Situation:
    """All that is known of a discrete state. Raises `NotZonable`."""
    possible = tuple(untimed.possible(state, running))
    pressing = [*untimed.pressing(state, running)]
    pressing += [way for one in possible for way in one.pressing]
    stands = () in pressing
    draft = Situation(state, running, possible, (), stands)
    urgency_bounds = () if stands else tuple(dict.fromkeys(_press(draft, way) for way in pressing))
    return Situation(state, running, possible, urgency_bounds, stands)


def _press(situation: Situation, way: BoundsInForce) -> UrgencyBound:
    if len(way) != 1:
        raise NotZonable("a moment at which time cannot go on rests on several clocks")
    bounds = way[0]
    index = situation.index(bounds.field)
    # Moments beyond a clock's most are alike, so no cut lies among them.
    within = bounds.low <= situation.most[index]
    return UrgencyBound(index, bounds.low, bounds.high, bounds.low if within else bounds.low - 1)


def parts(situation: Situation, zone: Zone) -> list[ZonePart]:
    """A zone in which a state is entered, cut so that time goes on alike from each part."""
    found = [ZonePart(zone, stands=situation.stands)]
    for urgency_bound in situation.urgency_bounds:
        found = [cut for part in found for cut in _cut(situation, part, urgency_bound)]
    return found


def _cut(situation: Situation, part: ZonePart, urgency_bound: UrgencyBound) -> Iterator[ZonePart]:
    if part.stands:
        yield part
        return
    n, high = situation.n, urgency_bound.high
    pieces: list[tuple[int, int | None, bool]] = [(0, urgency_bound.first, False)]
    if high is None or high > urgency_bound.first:
        pieces.append((urgency_bound.first + 1, high, True))
    if high is not None:
        pieces.append((high + 1, None, False))
    for low, top, stands in pieces:
        zone = dbm.between(part.zone, n, urgency_bound.index, low, top)
        if zone is not None:
            entered = (*part.entered, ClockBounds(urgency_bound.index, low, top))
            capped = low == 0 and top == urgency_bound.first and not stands
            caps = (*part.caps, (urgency_bound.index, urgency_bound.low)) if capped else part.caps
            yield ZonePart(zone, entered, caps, stands)


def caps_of(situation: Situation, part: ZonePart) -> tuple[tuple[int, int], ...]:
    """How far clocks (indexes) may come as time passes: those that turn over, to their last."""
    last = ((index, situation.running[index - 1].last) for index in situation.turning)
    return (*part.caps, *last)


def passed(situation: Situation, part: ZonePart) -> Zone:
    """All moments from those of a part on, up to where time cannot go on."""
    if part.stands:
        return part.zone
    n, found = situation.n, dbm.later(part.zone, situation.n)
    for index, cap in caps_of(situation, part):
        capped = dbm.constrained(found, n, index, 0, dbm.at_most(cap))
        assert capped is not None  # it holds the moments of entering
        found = capped
    return found


def turns(situation: Situation, zone: Zone, part: ZonePart) -> list[ClockTurnover]:
    """Ticks in which something turns over, from moments at which time can go on. The zone of each
    holds the moments right before.
    """
    if part.stands or not situation.turning:
        return []
    found = [ClockTurnover(zone, (), ())]
    for index, cap in part.caps:
        found = list(_narrowed(situation, found, index, 0, cap - 1, turned=False))
    for index in situation.turning:
        last = situation.running[index - 1].last
        found = [
            *_narrowed(situation, found, index, last, last, turned=True),
            *_narrowed(situation, found, index, 0, last - 1, turned=False),
        ]
    return [turn for turn in found if turn.turned]


def _narrowed(
    situation: Situation,
    found: list[ClockTurnover],
    index: int,
    low: int,
    high: int,
    *,
    turned: bool,
) -> Iterator[ClockTurnover]:
    for turn in found:
        zone = dbm.between(turn.zone, situation.n, index, low, high) if high >= 0 else None
        if zone is not None:
            all_turned = (*turn.turned, index) if turned else turn.turned
            yield ClockTurnover(zone, all_turned, (*turn.bounds, ClockBounds(index, low, high)))
