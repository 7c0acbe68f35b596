"""Slack: how far a constant can move before a requirement that holds is broken.

The device is explored anew with the constant moved, in memory. Moves are doubled until the
requirement breaks, and then halved between the last that holds and the first that does not: a
border between two neighbouring numbers of ticks. Where a requirement breaks, holds again further
on and breaks once more, it is one of these borders, and not always the nearest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import chain

from modecheck.checks import requirements, watched
from modecheck.checks.deciding import Constant, constant_of_rule
from modecheck.checks.judged import HOLDS, UNDECIDED, VACUOUS
from modecheck.engine.choice import Search, explore_with
from modecheck.model.parts import Chip, Device, Duration, Link
from modecheck.product.composition import compose
from modecheck.product.form import Product

WIDEST = 8
"""How many times its own length a constant is moved up at the most."""
LEAST_REACH = 16
"""Ticks that every constant is moved up, however short it is."""


@dataclass(frozen=True, slots=True)
class Border:
    """In one direction: the last ticks at which the requirement holds, and whether it is broken one
    further; if not, no more was tried. `known` is false where the bound of explorations was hit.
    """

    holds_at: int
    breaks: bool
    known: bool = True


@dataclass(frozen=True, slots=True)
class Slack:
    """How far a constant (ticks `now`, its earlier end where it has two) can move for a
    requirement.
    """

    constant: Constant
    need: str
    now: int
    down: Border
    up: Border

    @property
    def matters(self) -> bool:
        """Whether the requirement depends on the constant, as far as it was moved."""
        return self.down.breaks or self.up.breaks or not (self.down.known and self.up.known)


@dataclass(slots=True)
class SlackSearch:
    """Explores at most `most` times; `explorations` says how often it did."""

    device: Device
    search: Search
    most: int
    explorations: int = 0
    _verdicts: dict[tuple[object, int], dict[str, str]] = field(default_factory=dict)

    def all(self) -> Iterator[Slack]:
        """Every constant against every requirement that holds now."""
        clock = self.device.clock
        assert clock is not None
        now = self._judged(None, 0)
        needs = [name for name, verdict in (now or {}).items() if verdict in (HOLDS, VACUOUS)]
        for constant in constants_of(compose(self.device)):
            own = clock.ticks(constant.duration.low)
            least = 1 if self._is_period(constant) else 0
            for need in needs:
                down = self._border(constant, need, own, -1, max(own - least, 0))
                up = self._border(constant, need, own, 1, max(WIDEST * own, LEAST_REACH))
                yield Slack(constant, need, own, down, up)

    def _is_period(self, constant: Constant) -> bool:
        rules = (rule for chip in self.device.chips.values() for rule in chip.rules)
        return any(rule.after == constant.duration and rule.periodic for rule in rules)

    def _border(self, constant: Constant, need: str, own: int, sign: int, most: int) -> Border:
        good, bad, step = 0, 0, 1
        while not bad and good < most:
            tried = min(step, most)
            holds = self._holds(constant, need, sign * tried)
            if holds is None:
                return Border(own + sign * good, breaks=False, known=False)
            good, bad = (tried, bad) if holds else (good, tried)
            step *= 2
        while bad and bad - good > 1:
            middle = (good + bad) // 2
            holds = self._holds(constant, need, sign * middle)
            if holds is None:
                return Border(own + sign * good, breaks=False, known=False)
            good, bad = (middle, bad) if holds else (good, middle)
        return Border(own + sign * good, breaks=bool(bad))

    def _holds(self, constant: Constant, need: str, shift: int) -> bool | None:
        """Whether a requirement holds with the constant moved; None where nobody knows."""
        verdicts = self._judged(constant, shift)
        if verdicts is None or verdicts[need] == UNDECIDED:
            return None
        return verdicts[need] in (HOLDS, VACUOUS)

    def _judged(self, constant: Constant | None, shift: int) -> dict[str, str] | None:
        """The verdicts with a constant moved; None where the bound of explorations is hit."""
        key = (None if constant is None else constant.duration.places, shift)
        if key not in self._verdicts:
            if self.explorations >= self.most:
                return None
            self.explorations += 1
            device = self.device if constant is None else moved(self.device, constant, shift)
            space = explore_with(compose(device), self.search)
            needs = chain(*watched.needs_of(space.product))
            watching = watched.judge(space, list(needs), self.search, None)
            judged = [*requirements.judge(space), *watching]
            self._verdicts[key] = {one.need.name: one.verdict for one in judged}
        return self._verdicts[key]


def constants_of(product: Product) -> list[Constant]:
    """Every duration that timers and links wait for, once for each place in the model's files."""
    found: dict[object, Constant] = {}
    for rule in product.rules:
        constant = constant_of_rule(product, rule)
        if constant is not None:
            found.setdefault(constant.duration.places, constant)
    for link in product.device.links.values():
        if link.delay is not None:
            found.setdefault(link.delay.places, Constant(f"{link.name} delay", link.delay))
    return list(found.values())


def moved(device: Device, constant: Constant, shift: int) -> Device:
    """The device with both ends of a constant moved by so many ticks, wherever it is used."""
    clock = device.clock
    assert clock is not None
    by = shift * clock.tick

    def anew(duration: Duration | None) -> Duration | None:
        if duration is None or duration.places != constant.duration.places:
            return duration
        high = None if duration.high is None else duration.high + by
        return replace(duration, low=duration.low + by, high=high)

    def of_chip(chip: Chip) -> Chip:
        rules = tuple(replace(rule, after=anew(rule.after)) for rule in chip.rules)
        timers = {
            name: replace(timer, duration=anew(timer.duration) or timer.duration)
            for name, timer in chip.timers.items()
        }
        return replace(chip, rules=rules, timers=timers)

    def of_link(link: Link) -> Link:
        return replace(link, delay=anew(link.delay))

    return replace(
        device,
        chips={name: of_chip(chip) for name, chip in device.chips.items()},
        links={name: of_link(link) for name, link in device.links.items()},
    )
