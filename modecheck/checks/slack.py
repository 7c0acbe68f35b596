"""Slack: at which lengths of a constant a requirement that holds now would be broken.

The device is explored again with the constant changed, in memory. A requirement may break at some
length, hold again further on and break once more, so nothing follows for a length that was not
explored: where there are few enough, every one up to a limit is explored. Otherwise only some
points are, with no claim about those between: the distance is doubled, and then, for each
requirement, bisected between a point where it holds and the next where it does not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, pairwise

from modecheck.checks import requirement_checks, watched
from modecheck.checks.deciding import ModelDuration, constant_of_rule
from modecheck.checks.judged import HOLDS, UNDECIDED, VACUOUS
from modecheck.engine.choice import Search, explore_with
from modecheck.model.parts import Chip, Device, Link
from modecheck.model.times import Duration
from modecheck.product.composition import compose
from modecheck.product.ir import Product

WIDEST = 8
"""A constant is lengthened by at most this many times its own length."""
LEAST_REACH = 16
"""Ticks by which every constant is lengthened, however short it is."""


@dataclass(frozen=True, slots=True)
class SlackExploration:
    """The lengths of a constant (in ticks, of its earlier end where it has two) at which the device
    was explored, in order, including its length `now`: each one from `lowest` to `highest`, or
    some. Not `whole` where a bound kept some from being explored.
    """

    now: int
    lowest: int
    highest: int
    lengths: tuple[int, ...]
    whole: bool = True

    @property
    def every(self) -> bool:
        """Whether no length from the lowest to the highest is left out."""
        return len(self.lengths) == self.highest - self.lowest + 1


@dataclass(frozen=True, slots=True)
class Slack:
    """The verdict on a requirement that holds now at each explored length of a constant. It is
    `undecided` where an exploration was stopped.
    """

    constant: ModelDuration
    need: str
    explored: SlackExploration
    broken: tuple[int, ...]
    undecided: tuple[int, ...]

    @property
    def holds(self) -> tuple[int, ...]:
        """The lengths at which it holds."""
        others = {*self.broken, *self.undecided}
        return tuple(one for one in self.explored.lengths if one not in others)

    @property
    def matters(self) -> bool:
        """Whether the requirement does not hold at every explored length."""
        return bool(self.broken or self.undecided)

    @property
    def known(self) -> bool:
        """Whether no bound was hit."""
        return self.explored.whole and not self.undecided


@dataclass(frozen=True, slots=True)
class AllSlack:
    """The slack of every constant for every requirement that holds now. Not `complete` where a
    bound was hit, even before anything could be judged.
    """

    every: tuple[Slack, ...]
    complete: bool


@dataclass(slots=True)
class SlackSearch:
    """Explores at most `most` times; `explorations` is how often it did so far."""

    device: Device
    search: Search
    most: int
    explorations: int = 0
    _verdicts: dict[tuple[object, int], dict[str, str]] = field(default_factory=dict)

    def all(self) -> AllSlack:
        """The slack of all constants, in the device's order."""
        now = self._judged(None, 0)
        if now is None:
            return AllSlack((), complete=False)
        needs = [name for name, verdict in now.items() if verdict in (HOLDS, VACUOUS)]
        every = tuple(self._every(needs))
        known = UNDECIDED not in now.values() and all(one.known for one in every)
        return AllSlack(every, known)

    def _every(self, needs: Sequence[str]) -> Iterator[Slack]:
        """Those with the fewest lengths are explored first, so that as many as can be are explored
        whole.
        """
        constants = constants_of(compose(self.device))
        sides = [side for one in constants for side in self._sides(one)] if needs else []
        sides.sort(key=lambda side: len(side.shifts))
        for left, side in zip(range(len(sides), 0, -1), sides, strict=True):
            if len(side.shifts) <= (self.most - self.explorations) // left:
                self._explore(side, side.shifts)
            else:
                self._explore_points(side, needs)
        for constant in constants:
            yield from self._told(constant, needs, [s for s in sides if s.constant == constant])

    def _sides(self, constant: ModelDuration) -> Iterator[_Side]:
        """The moves down and up, the nearest first."""
        own = self._own(constant)
        least = 1 if self._is_period(constant) else 0
        yield _Side(constant, range(-1, least - own - 1, -1))
        yield _Side(constant, range(1, max(WIDEST * own, LEAST_REACH) + 1))

    def _own(self, constant: ModelDuration) -> int:
        clock = self.device.clock
        assert clock is not None
        return clock.ticks(constant.duration.low)

    def _is_period(self, constant: ModelDuration) -> bool:
        rules = (rule for chip in self.device.chips.values() for rule in chip.rules)
        return any(rule.after == constant.duration and rule.periodic for rule in rules)

    def _explore(self, side: _Side, shifts: Iterable[int]) -> None:
        """Notes what is judged at some moves, up to a bound."""
        for shift in shifts:
            verdicts = self._judged(side.constant, shift)
            if verdicts is None:
                side.whole = False
                return
            side.judged[shift] = verdicts

    def _explore_points(self, side: _Side, needs: Sequence[str]) -> None:
        places: list[int] = []
        many = len(side.shifts)
        while not places or places[-1] < many:
            places.append(min(2 * places[-1] if places else 1, many))
        self._explore(side, (side.shifts[place - 1] for place in places))
        for need in needs:
            judged = [0, *(p for p in places if side.shifts[p - 1] in side.judged)]
            pairs = pairwise(judged)
            border = next((p for p in pairs if self._breaks(side, need, p[1])), None)
            while border is not None and border[1] - border[0] > 1 and side.whole:
                middle = sum(border) // 2
                self._explore(side, [side.shifts[middle - 1]])
                breaks = self._breaks(side, need, middle)
                border = (border[0], middle) if breaks else (middle, border[1])

    def _breaks(self, side: _Side, need: str, place: int) -> bool:
        verdicts = side.judged.get(side.shifts[place - 1])
        return verdicts is not None and verdicts[need] not in (HOLDS, VACUOUS)

    def _told(
        self, constant: ModelDuration, needs: Iterable[str], sides: Sequence[_Side]
    ) -> Iterator[Slack]:
        own = self._own(constant)
        judged = {own + shift: said for side in sides for shift, said in side.judged.items()}
        reach = [own, *(own + side.shifts[-1] for side in sides if side.shifts)]
        lengths = tuple(sorted({own, *judged}))
        whole = all(side.whole for side in sides)
        explored = SlackExploration(own, min(reach), max(reach), lengths, whole)
        for need in needs:
            said = {length: verdicts[need] for length, verdicts in sorted(judged.items())}
            undecided = tuple(length for length, one in said.items() if one == UNDECIDED)
            fine = (HOLDS, VACUOUS, UNDECIDED)
            broken = tuple(length for length, one in said.items() if one not in fine)
            yield Slack(constant, need, explored, broken, undecided)

    def _judged(self, constant: ModelDuration | None, shift: int) -> dict[str, str] | None:
        """The verdicts with a constant moved; None where a bound keeps it from being explored."""
        key = (None if constant is None else constant.duration.places, shift)
        if key not in self._verdicts:
            if self.explorations >= self.most or self.search.limits.time_is_up:
                return None
            self.explorations += 1
            device = self.device if constant is None else moved(self.device, constant, shift)
            space = explore_with(compose(device), self.search)
            needs = chain(*watched.needs_of(space.product))
            observers = watched.judge(space, list(needs), self.search, None)
            judged = [*requirement_checks.judge(space), *observers]
            self._verdicts[key] = {one.need.name: one.verdict for one in judged}
        return self._verdicts[key]


@dataclass(slots=True)
class _Side:
    """Moves of a constant in one direction, the nearest first, and what was judged at them."""

    constant: ModelDuration
    shifts: range
    judged: dict[int, dict[str, str]] = field(default_factory=dict)
    whole: bool = True


def constants_of(product: Product) -> list[ModelDuration]:
    """Every duration of timers and links, once for each place in the model's files."""
    found: dict[object, ModelDuration] = {}
    for rule in product.rules:
        constant = constant_of_rule(product, rule)
        if constant is not None:
            found.setdefault(constant.duration.places, constant)
    for link in product.device.links.values():
        if link.delay is not None:
            found.setdefault(link.delay.places, ModelDuration(f"{link.name} delay", link.delay))
    return list(found.values())


def moved(device: Device, constant: ModelDuration, shift: int) -> Device:
    """The device with both ends of a constant moved by `shift` ticks, wherever it is used."""
    clock = device.clock
    assert clock is not None
    by = shift * clock.tick

    def shifted(duration: Duration | None) -> Duration | None:
        if duration is None or duration.places != constant.duration.places:
            return duration
        high = None if duration.high is None else duration.high + by
        return replace(duration, low=duration.low + by, high=high)

    def of_chip(chip: Chip) -> Chip:
        rules = tuple(replace(rule, after=shifted(rule.after)) for rule in chip.rules)
        timers = {
            name: replace(timer, duration=shifted(timer.duration) or timer.duration)
            for name, timer in chip.timers.items()
        }
        return replace(chip, rules=rules, timers=timers)

    def of_link(link: Link) -> Link:
        return replace(link, delay=shifted(link.delay))

    return replace(
        device,
        chips={name: of_chip(chip) for name, chip in device.chips.items()},
        links={name: of_link(link) for name, link in device.links.items()},
    )
