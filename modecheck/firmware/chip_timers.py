"""The timers that the C code of a chip starts and stops, each with a number of its own.

What is meant by a timer of the model is defined in `modecheck.product.timing`; here, each rule that
waits for a time has its own, since firmware starts and stops timers instead of counting ticks.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from modecheck.model.parts import Chip, Rule
from modecheck.model.places import Place
from modecheck.model.times import Duration
from modecheck.product.timing import WHOLE_CHIP, ChipTimers


@dataclass(frozen=True, slots=True)
class ChipTimer:
    """A timer of the chip. A named one (without `rules`) runs while rules have started it; that of
    a rule runs in its `leaves`, counted since `source` was entered (None: whichever of the rule's
    states holds, none of which is inside another). All branches of a rule wait
    for the same timer.
    """

    title: str
    duration: Duration
    leaves: frozenset[int]
    rules: tuple[Rule, ...] = ()
    source: str | None = None
    place: Place | None = None

    @property
    def rule(self) -> Rule | None:
        """A rule that waits for it, unless it is a named one."""
        return self.rules[0] if self.rules else None

    def is_of(self, rule: Rule) -> bool:
        """Whether a rule waits for it since a state was entered."""
        return any(one.title == rule.title for one in self.rules)


class TimersOfChip:
    """All timers of a chip, and what its rules do to them."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self._states = ChipTimers(chip, None)
        self.all = (*self._of_rules(), *self._named())

    def _of_rules(self) -> Iterator[ChipTimer]:
        for title, rules in _together(self.chip):
            rule = rules[0]
            assert rule.after is not None
            states = rule.sources or (WHOLE_CHIP,)
            around = {outer for one in rule.sources for outer in self.chip.ancestry(one)[1:]}
            nested = not around.isdisjoint(rule.sources)
            if not nested:
                leaves = frozenset(self._states.leaves_of(rule))
                yield ChipTimer(title, rule.after, leaves, rules, None, rule.place)
            for state in states if nested else ():
                leaves = frozenset(self.chip.leaves_in[state])
                if all(self._states.source_in(leaf, rule) != state for leaf in leaves):
                    continue  # an inner state of the rule's lies in each
                named = f"{title} {state}".strip()
                yield ChipTimer(named, rule.after, leaves, rules, state, rule.place)

    def _named(self) -> list[ChipTimer]:
        return [
            ChipTimer(timer.name, timer.duration, frozenset(), place=timer.place)
            for timer in self.chip.timers.values()
        ]

    def _source(self, timer: ChipTimer, leaf: int) -> str:
        if timer.source is not None:
            return timer.source
        assert timer.rule is not None
        return self._states.source_in(leaf, timer.rule)

    def begun_in(self, leaf: int) -> tuple[int, ...]:
        """The timers (numbers) that start when the chip starts in a leaf."""
        return tuple(n for n, timer in enumerate(self.all) if leaf in timer.leaves)

    def waits_for(self, timer: int, rule: Rule, leaf: int) -> bool:
        """Whether a rule can be taken in a leaf when a timer expires."""
        one = self.all[timer]
        if one.rule is None:
            return rule.expires == one.title
        here = one.is_of(rule) and leaf in one.leaves
        return here and self._source(one, leaf) == self._states.source_in(leaf, rule)

    def stopped_by(self, rule: Rule, after: int) -> tuple[int, ...]:
        """The timers that may run before a rule is taken, and do not run after it in the leaf
        `after`.
        """
        before = self._states.leaves_of(rule)
        ended = [
            number
            for number, timer in enumerate(self.all)
            if timer.leaves.intersection(before) and after not in timer.leaves
        ]
        names = {rule.expires, *rule.stops} - {*rule.starts}
        return (*(ended if rule.target is not None else ()), *self._numbers(names))

    def started_by(self, rule: Rule, before: int, after: int) -> tuple[int, ...]:
        """The timers that start, or start anew, when a rule takes the chip from leaf to leaf."""
        begun = [
            number
            for number, timer in enumerate(self.all)
            if after in timer.leaves and self._starts(timer, rule, before, after)
        ]
        return (*begun, *self._numbers(rule.starts))

    def _starts(self, timer: ChipTimer, rule: Rule, before: int, after: int) -> bool:
        source = self._source(timer, after)
        if rule.target is None:
            return timer.is_of(rule) and source == self._states.source_in(before, rule)
        went_on = before in timer.leaves and self._source(timer, before) == source
        return not (went_on and self._states.keeps(before, rule, source))

    def _numbers(self, names: Collection[str]) -> tuple[int, ...]:
        return tuple(n for n, one in enumerate(self.all) if one.rule is None and one.title in names)


def _together(chip: Chip) -> list[tuple[str, tuple[Rule, ...]]]:
    """The rules that wait for a time since a state was entered, those with the same timer together,
    with its title.
    """
    found: dict[str, list[Rule]] = {}
    for rule in chip.rules:
        if rule.after is not None:
            found.setdefault(rule.whole, []).append(rule)
    return [(title, tuple(rules)) for title, rules in found.items()]
