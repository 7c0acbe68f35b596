"""How long a chip waits, and which of its named timers a rule starts and stops."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from modecheck.model.clocks import spelled
from modecheck.model.times import Duration
from modecheck.repair.changes import RepairChange
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, WrittenRule

DURATION, NAMED = "durations", "named timers"
FACTORS = (Fraction(1, 2), Fraction(3, 2), Fraction(2), Fraction(3), Fraction(5))
"""By which a duration is multiplied."""
TICKS = (1, 2, 3, -1, -2)
"""By how many ticks it is changed."""


def duration_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Longer and shorter times, in a device that counts time."""
    if at.device.clock is None:
        return
    for _, rule in at.rules():
        key = "period" if "period" in rule.data else "after"
        models = [one.after for one in at.model_rules(rule) if one.after is not None]
        if isinstance(rule.data.get(key), str) and models:
            for rank, text in _others(at, models[0]):
                words = f"{rule.name} waits {text}, not {rule.data[key]}"
                yield at.change_rule(DURATION, rule, {key: text}, words, rank=rank)
    for chip in at.entries:
        yield from _of_timers(at, chip)


def _others(at: RepairSituation, duration: Duration) -> Iterator[tuple[float, str]]:
    """Other durations, the nearest first; only multiples of the tick."""
    clock = at.device.clock
    assert clock is not None
    low = duration.low
    if duration.high != low:
        return
    wanted = [low + n * clock.tick for n in TICKS] + [low * factor for factor in FACTORS]
    own = [one.after.low for c in at.device.chips.values() for one in c.rules if one.after]
    values = dict.fromkeys(one for one in [*wanted, *own] if one > 0 and one != low)
    for rank, seconds in enumerate(values):
        if (seconds / clock.tick).denominator == 1:
            yield 0.1 * rank, spelled(seconds)


def _of_timers(at: RepairSituation, chip: WrittenChip) -> Iterator[RepairChange]:
    for name, timer in at.chips_of(chip.name)[0].timers.items():
        for rank, text in _others(at, timer.duration):
            chips = at.written.alike(chip.name)
            yield RepairChange(
                DURATION,
                f"{' and '.join(chips)}: timer {name} takes {text}, not {timer.duration.text}",
                at.written.on_chip(chip.name, ("timers", name), text, all_alike=True),
                frozenset((one, "") for one in chips),
                rank=0.1 * rank,
            )


def timer_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A rule starts a timer, or stops it, or does neither any more."""
    for chip, rule in at.rules():
        timers = list(at.chips_of(chip.name)[0].timers)
        yield from _started(at, rule, timers)


def _started(at: RepairSituation, rule: WrittenRule, timers: list[str]) -> Iterator[RepairChange]:
    for key, verb in (("stop", "stops"), ("start", "starts")):
        now = rule.words(key)
        for name in timers:
            if name in now:
                left = [one for one in now if one != name] or None
                words = f"{rule.name} no longer {verb} {name}"
                yield at.change_rule(NAMED, rule, {key: [*left] if left else None}, words, rank=0.8)
            elif name not in rule.words("expires"):
                words = f"{rule.name} {verb} {name}"
                yield at.change_rule(NAMED, rule, {key: [*now, name]}, words, rank=0.1)
