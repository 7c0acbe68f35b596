"""Turns timers into fields, and defines what a tick does to them.

A rule with `after` or `period` counts the ticks since its state was entered, or since it was last
taken. While a chip is not in that state the count is 0, so timers of states that exclude each other
share a field, and states never differ in a count that can no longer matter. A count saturates one
tick after its latest moment, when that has passed, or at its earliest one if there is no latest:
from there on all counts behave alike. A named timer is 0 while it is stopped, and one more than its
count while it runs.

Rules of one state that leave it count from the same moment and share a count; each rule that stays,
and each periodic one, has its own. So has each rule with `choose`: all its branches are one timer,
which restarts with whichever branch is taken. A transition exits every state from the chip's
innermost one outwards, up to but excluding the innermost one that contains both the rule's state
and the target (the external transitions of UML 2.5.1 and SCXML).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from modecheck.model.parts import Chip, Rule
from modecheck.model.times import Clock, Duration
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Failure, Read
from modecheck.product.ir import Assign, Field, TargetIR, Ticking
from modecheck.product.lowering import FALSE, TRUE, folded

WHOLE_CHIP = ""
"""Stands for the state around all states."""


@dataclass(frozen=True, slots=True)
class TickInterval:
    """Ticks from `low` to `high`; None for no latest moment."""

    low: int
    high: int | None

    @property
    def last(self) -> int:
        """Where a count may saturate: all later values behave alike."""
        return self.low if self.high is None else self.high + 1

    @property
    def stops(self) -> set[int]:
        """Counts at which something becomes possible, necessary or impossible."""
        return {self.low, self.last, self.last if self.high is None else self.high}


def moments(clock: Clock, duration: Duration) -> TickInterval:
    high = None if duration.high is None else clock.ticks(duration.high)
    return TickInterval(clock.ticks(duration.low), high)


@dataclass(slots=True)
class Count:
    """Ticks since a state was entered, or, with a `rule`, the ticks of that rule alone. It rises to
    `last`, and then becomes `behind`.
    """

    state: str
    rule: str
    last: int
    behind: int
    stops: set[int]
    field: int = -1


@dataclass(slots=True)
class ChipTimers:
    """The counts of a chip by state, in the order of their fields, and its named timers' fields."""

    chip: Chip
    clock: Clock | None
    counts: dict[str, list[Count]] = field(default_factory=dict)
    named: dict[str, int] = field(default_factory=dict)

    def at(self, leaf: str) -> list[Count]:
        """The counts that run in a leaf, outer states first, in the order of their fields."""
        around = reversed(self.chip.ancestry(leaf))
        return [count for state in around for count in self.counts.get(state, ())]

    def of(self, rule: Rule) -> dict[tuple[int, ...], Count]:
        """The counts that a rule waits for, by the leaves in which it waits."""
        found: dict[tuple[int, ...], Count] = {}
        for state in rule.sources or (WHOLE_CHIP,):
            leaves = tuple(
                n for n in self.chip.leaves_in[state] if self.source_in(n, rule) == state
            )
            if leaves:
                title = _title_of_count(rule)
                found[leaves] = next(c for c in self.counts[state] if c.rule == title)
        return found

    def source_in(self, leaf: int, rule: Rule) -> str:
        """The state from which a leaf inherits a rule: the innermost of the rule's states."""
        around = self.chip.ancestry(self.chip.leaves[leaf])
        return next((state for state in around if state in rule.sources), WHOLE_CHIP)

    def keeps(self, leaf: int, rule: Rule, state: str) -> bool:
        """Whether what counts since a state was entered runs on when a rule with a target is taken
        in a leaf.
        """
        source = self.source_in(leaf, rule)
        assert rule.target is not None
        around_source = self.chip.ancestry(source)[1:] if source else ()
        return state in set(around_source) & set(self.chip.ancestry(rule.target)[1:])

    def leaves_of(self, rule: Rule) -> tuple[int, ...]:
        """The leaves in which a rule applies."""
        states = rule.sources or (WHOLE_CHIP,)
        return tuple(sorted({leaf for state in states for leaf in self.chip.leaves_in[state]}))


def _title_of_count(rule: Rule) -> str:
    """The title of a rule that counts alone, or nothing. All branches of a rule share its count."""
    alone = rule.periodic or rule.target is None or rule.branch is not None
    return rule.whole if alone else ""


def plan_timers(chip: Chip, clock: Clock | None, owner: int, fields: list[Field]) -> ChipTimers:
    """The timers of a chip; their fields are added to `fields`."""
    timers = ChipTimers(chip, clock)
    if clock is not None:
        _find_counts(timers, clock)
        _share_fields(timers, owner, fields)
    for timer in chip.timers.values():
        high = 1
        if clock is not None:
            wanted = moments(clock, timer.duration)
            high += wanted.low if wanted.high is None else wanted.high
        timers.named[timer.name] = len(fields)
        fields.append(Field(f"{chip.name}.{timer.name} timer", 0, high, 0, owner))
    return timers


def _find_counts(timers: ChipTimers, clock: Clock) -> None:
    for rule in timers.chip.rules:
        if rule.after is None:
            continue
        title = _title_of_count(rule)
        wanted = moments(clock, rule.after)
        last = behind = wanted.last
        if rule.periodic and wanted.high is not None:
            last, behind = wanted.high, 1  # it restarts instead of passing its latest moment
        for state in rule.sources or (WHOLE_CHIP,):
            known = timers.counts.setdefault(state, [])
            same = [count for count in known if count.rule == title]
            if same and title:
                continue  # another branch of the same rule, which waits for the same time
            if same:
                same[0].last = same[0].behind = max(same[0].last, last)
                same[0].stops |= wanted.stops
            else:
                known.append(Count(state, title, last, behind, {*wanted.stops}))


def _share_fields(timers: ChipTimers, owner: int, fields: list[Field]) -> None:
    # A chip is in one leaf at a time, so leaves can use the same fields. Outer states come first:
    # a count that runs in several leaves has the same place, hence the same field, in each.
    highest: list[int] = []
    for leaf in timers.chip.leaves:
        for place, count in enumerate(timers.at(leaf)):
            if place == len(highest):
                highest.append(0)
            highest[place] = max(highest[place], count.last)
            count.field = len(fields) + place
    for place, high in enumerate(highest):
        fields.append(Field(f"{timers.chip.name} waits[{place}]", 0, high, 0, owner))


class TimerCode:
    """How timers and the rules of one chip affect each other, as expressions and assignments."""

    def __init__(self, timers: ChipTimers, state_field: int, fields: Sequence[Field]) -> None:
        self._timers = timers
        self._state = state_field
        self._fields = fields

    def inside(self, leaves: Sequence[int]) -> Expression:
        """Whether the chip is in one of these leaves."""
        if len(leaves) == len(self._timers.chip.leaves):
            return TRUE
        tests = (ApplyIR("==", (Read(self._state), ConstantIR(leaf))) for leaf in sorted(leaves))
        return folded("or", tuple(tests))

    def ready(self, rule: Rule) -> Expression:
        """Whether it is time for a rule; a rule that waits for no time is always ready."""
        clock = self._timers.clock
        if rule.expires:
            return self._expiring(rule, clock)
        if rule.after is None or clock is None:
            return TRUE
        wanted = moments(clock, rule.after)
        ways = [
            folded("and", (self.inside(leaves), _between(count.field, wanted)))
            for leaves, count in self._timers.of(rule).items()
        ]
        return folded("or", tuple(ways))

    def _expiring(self, rule: Rule, clock: Clock | None) -> Expression:
        own = self._timers.named[rule.expires]
        if clock is None:
            return ApplyIR("==", (Read(own), ConstantIR(1)))
        wanted = moments(clock, self._timers.chip.timers[rule.expires].duration)
        high = None if wanted.high is None else wanted.high + 1
        return _between(own, TickInterval(wanted.low + 1, high))

    def due(self, rule: Rule) -> Expression:
        """Whether a rule is at its latest moment, so that time cannot pass without it."""
        clock = self._timers.clock
        assert clock is not None
        if rule.expires:
            high = moments(clock, self._timers.chip.timers[rule.expires].duration).high
            where = self.inside(self._timers.leaves_of(rule))
            return _both(
                where, self._timers.named[rule.expires], None if high is None else high + 1
            )
        assert rule.after is not None
        high = moments(clock, rule.after).high
        ways = [
            _both(self.inside(leaves), count.field, high)
            for leaves, count in self._timers.of(rule).items()
        ]
        return folded("or", tuple(ways))

    def settings(self, rule: Rule) -> Iterator[Assign]:
        """What a rule does to the timers of its chip, after its other effects."""
        for name in dict.fromkeys((*([rule.expires] if rule.expires else ()), *rule.stops)):
            yield self._set(self._timers.named[name], ConstantIR(0), rule)
        for name in rule.starts:
            yield self._set(self._timers.named[name], ConstantIR(1), rule)
        if rule.target is not None:
            yield from self._entering(rule)
        elif rule.after is not None and self._timers.clock is not None:
            for leaves, count in self._timers.of(rule).items():
                anew = folded("if", (self.inside(leaves), ConstantIR(0), Read(count.field)))
                yield self._set(count.field, anew, rule)

    def _entering(self, rule: Rule) -> Iterator[Assign]:
        """Counts restart, except those of states that are not exited."""
        chip, leaves = self._timers.chip, self._timers.leaves_of(rule)
        assert rule.target is not None
        entered = self._timers.at(chip.states[rule.target].initial_leaf)
        goes_on = {count.field: count for count in entered}
        used = {count.field for n in leaves for count in self._timers.at(chip.leaves[n])}
        for own in sorted(used):
            count = goes_on.get(own)
            keeps = self._timers.keeps
            kept = [n for n in leaves if count is not None and keeps(n, rule, count.state)]
            if len(kept) < len(leaves):
                anew = folded("if", (self.inside(kept), Read(own), ConstantIR(0)))
                yield self._set(own, anew if kept else ConstantIR(0), rule)

    def _set(self, own: int, value: Expression, rule: Rule) -> Assign:
        low, high = self._fields[own].low, self._fields[own].high
        name = self._fields[own].name
        failure = Failure("out-of-range", name, f"{name} leaves its range", rule.place)
        return Assign((TargetIR(own, 0, None, low, high, failure),), (value,))

    def tickings(self) -> Iterator[Ticking]:
        """What a tick does to the chip's timers."""
        timers, clock = self._timers, self._timers.clock
        if clock is None:
            return
        for counts in timers.counts.values():
            for count in counts:
                runs = self.inside(timers.chip.leaves_in[count.state])
                stops = tuple(sorted(stop for stop in count.stops if 0 < stop <= count.last))
                yield Ticking(count.field, runs, count.last, count.behind, stops)
        for name, own in timers.named.items():
            wanted = moments(clock, timers.chip.timers[name].duration)
            runs = ApplyIR("!=", (Read(own), ConstantIR(0)))
            low = wanted.low + 1
            if wanted.high is None:
                yield Ticking(own, runs, low, low, (low,), zero=1)
            else:
                high = wanted.high + 1
                yield Ticking(own, runs, high, 0, (low, high) if low < high else (high,), zero=1)

    def fresh(self) -> Iterator[tuple[int, int]]:
        """The values of the chip's timers after a power cut."""
        counts = {c.field for counts in self._timers.counts.values() for c in counts}
        for own in (*sorted(counts), *self._timers.named.values()):
            yield own, 0


def _between(own: int, wanted: TickInterval) -> Expression:
    parts: list[Expression] = []
    if wanted.low:
        parts.append(ApplyIR(">=", (Read(own), ConstantIR(wanted.low))))
    if wanted.high is not None:
        parts.append(ApplyIR("<=", (Read(own), ConstantIR(wanted.high))))
    return folded("and", tuple(parts))


def _both(where: Expression, own: int, moment: int | None) -> Expression:
    if moment is None:
        return FALSE
    return folded("and", (where, ApplyIR("==", (Read(own), ConstantIR(moment)))))
