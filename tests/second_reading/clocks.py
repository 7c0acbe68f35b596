"""Time by itself: how long each rule of a chip has waited, what is ripe, what is due.

Every rule with `after` or `period` counts for each of its states by itself, in plain ticks.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.model.parts import Chip, Device, Link, Rule
from modecheck.model.times import Duration
from tests.second_reading.statechart import branches, owes, rules_in, states_around
from tests.second_reading.worlds import World

WHOLE = ""


class Clocks:
    """The time of one device, which may have none."""

    def __init__(self, device: Device) -> None:
        self.device = device

    def span(self, duration: Duration) -> tuple[int, int | None]:
        """Earliest and latest moment in ticks."""
        clock = self.device.clock
        assert clock is not None
        low = int(duration.low / clock.tick)
        return low, None if duration.high is None else int(duration.high / clock.tick)

    def begin(self, world: World, chip: Chip) -> None:
        """A chip begins: it has waited for nothing yet, and no timer of it runs."""
        for timer in chip.timers:
            world.runs[chip.name, timer] = None
        for key in [key for key in world.waited if key[0] == chip.name]:
            del world.waited[key]
        self._fill(world, chip)

    def _fill(self, world: World, chip: Chip) -> None:
        """Counts stand for the states that a chip is in, and for no others."""
        if self.device.clock is None:
            return
        inside = [*states_around(chip, world.at[chip.name]), WHOLE]
        for rule in chip.rules:
            for state in rule.sources or (WHOLE,):
                key = (chip.name, rule.title, state)
                if rule.after is not None and state in inside:
                    world.waited.setdefault(key, 0)
                else:
                    world.waited.pop(key, None)

    def source(self, chip: Chip, leaf: str, rule: Rule) -> str:
        """By which of its states a rule holds in a leaf: the innermost."""
        return next((s for s in states_around(chip, leaf) if s in rule.sources), WHOLE)

    def take(self, world: World, chip: Chip, rule: Rule, leaf: str) -> None:
        """What a rule that was taken in a leaf does to time; the chip is where it goes already."""
        if rule.expires:
            world.runs[chip.name, rule.expires] = None
        for name in rule.stops:
            world.runs[chip.name, name] = None
        for name in rule.starts:
            world.runs[chip.name, name] = 0
        source = self.source(chip, leaf, rule)
        if rule.target is None:
            for branch in branches(chip, rule):
                key = (chip.name, branch.title, source)
                if key in world.waited:
                    world.waited[key] = 0
            return
        stays = set(self._outside(chip, source)) & set(self._outside(chip, rule.target))
        for key in [key for key in world.waited if key[0] == chip.name and key[2] not in stays]:
            del world.waited[key]
        self._fill(world, chip)

    def _outside(self, chip: Chip, state: str) -> list[str]:
        """The states around a state, without it; around all there is the whole chip."""
        return [] if state == WHOLE else [*states_around(chip, state)[1:], WHOLE]

    def ripe(self, world: World, chip: Chip, rule: Rule) -> bool:
        """Whether the time of a rule has come, and has not passed."""
        if rule.expires:
            return self._expires(world, chip, rule)
        if rule.after is None or self.device.clock is None:
            return True
        low, high = self.span(rule.after)
        source = self.source(chip, world.at[chip.name], rule)
        waited = world.waited[chip.name, rule.title, source]
        return low <= waited and (high is None or waited <= high)

    def _expires(self, world: World, chip: Chip, rule: Rule) -> bool:
        runs = world.runs[chip.name, rule.expires]
        if runs is None or self.device.clock is None:
            return runs is not None
        low, high = self.span(chip.timers[rule.expires].duration)
        return low <= runs and (high is None or runs <= high)

    def at_latest(self, world: World) -> Iterator[tuple[Chip, Rule]]:
        """Rules of chips that have to be taken now, if their condition holds."""
        for chip in self.device.chips.values():
            for rule in rules_in(chip, world.at[chip.name]):
                timer = rule.kind == "timer" and owes(chip, rule)
                if timer and self.is_at_latest(world, chip, rule):
                    yield chip, rule

    def is_at_latest(self, world: World, chip: Chip, rule: Rule) -> bool:
        """Whether the time of a rule is at its latest moment; without a clock nobody knows."""
        if self.device.clock is None:
            return False
        if rule.expires:
            duration = chip.timers[rule.expires].duration
            waited = world.runs[chip.name, rule.expires]
        else:
            assert rule.after is not None
            duration = rule.after
            source = self.source(chip, world.at[chip.name], rule)
            waited = world.waited[chip.name, rule.title, source]
        return waited is not None and waited == self.span(duration)[1]

    def deliverable(self, world: World, link: Link, place: int) -> bool:
        """Whether a message of a link has been under way for long enough."""
        if self.device.clock is None or link.delay is None:
            return True
        return world.waits[link.name][place].age >= self.span(link.delay)[0]

    def last_call(self, world: World, link: Link) -> bool:
        """Whether a message of a link that could be delivered cannot be under way for longer."""
        if self.device.clock is None or link.delay is None:
            return False
        waits = world.waits[link.name]
        heads = waits if link.order == "any" else waits[:1]
        return any(one.age == self.span(link.delay)[1] for one in heads)

    def go_on(self, world: World, standing: set[str]) -> None:
        """One tick, for all chips but some. Nobody counts beyond where it makes a difference."""
        for name, title, state in world.waited:
            if name in standing:
                continue
            rule = next(r for r in self.device.chips[name].rules if r.title == title)
            assert rule.after is not None
            now = world.waited[name, title, state] + 1
            world.waited[name, title, state] = self._counted(now, *self.span(rule.after), rule)
        for chip, timer in world.runs:
            runs = world.runs[chip, timer]
            if runs is not None and chip not in standing:
                low, high = self.span(self.device.chips[chip].timers[timer].duration)
                over = high is not None and runs + 1 > high
                at_most = runs + 1 if high is not None else min(runs + 1, low)
                world.runs[chip, timer] = None if over else at_most
        for link in self.device.links.values():
            if link.delay is not None:
                low, high = self.span(link.delay)
                last = low if high is None else high
                world.waits[link.name] = tuple(
                    one._replace(age=min(one.age + 1, last)) for one in world.waits[link.name]
                )

    def _counted(self, now: int, low: int, high: int | None, rule: Rule) -> int:
        if high is None:
            return min(now, low)
        if rule.periodic:
            return now if now <= high else 1
        return min(now, high + 1)


def first_clocks(device: Device, world: World) -> None:
    """Time begins."""
    clocks = Clocks(device)
    for chip in device.chips.values():
        clocks.begin(world, chip)
