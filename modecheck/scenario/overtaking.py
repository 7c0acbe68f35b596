"""Timers that overtake shorter ones in a scenario of a device whose time is not counted.

Without a clock a running timer may expire at any moment. A scenario in which one expires although a
shorter one began no later, and could have been taken all the while, needs exactly that: with a
clock, time does not pass the latest moment of the shorter one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from modecheck.engine.reference.happenings import Happening, Struck, Took
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.clocks import common_measure, durations, spelled
from modecheck.model.parts import Chip, Rule
from modecheck.model.times import Duration
from modecheck.product.fairness import fairness_of
from modecheck.product.ir import Product
from modecheck.scenario.traces import Trace


@dataclass(frozen=True, slots=True)
class Overtaking:
    """In the step with the number `step`, `late` is taken before `early`, which was shorter and
    began no later.
    """

    step: int
    late: Rule
    late_lasts: Duration
    early: Rule
    early_lasts: Duration


def overtaking_in(trace: Trace) -> Overtaking | None:
    """The first timer that overtakes a shorter one; None if none does, or if time is counted."""
    product = trace.product
    if product.time is not None or not any(_lasts(product, rule) for rule in product.rules):
        return None
    running = _Running(product)
    for number, replayed in enumerate(trace.steps, start=1):
        taken = product.labels[replayed.step.label].rule
        found = running.overtaken_by(taken)
        if found is not None:
            return _overtaking(product, number, taken, found)
        if replayed.step.after is not None:
            running.go_on(number, replayed.step.after, replayed.step.happenings)
    return None


def overtaking_in_words(found: Overtaking, product: Product) -> str:
    """The sentence of a finding, with the line that would count the time."""
    late, early = (f"{one.chip}.{one.title}" for one in (found.late, found.early))
    tick = common_measure(
        moment for duration in durations(product.device) for moment in duration.moments
    )
    return (
        f"time is not counted here: in step {found.step} {late} ({found.late_lasts.text}) "
        f"overtakes {early} ({found.early_lasts.text}), which started no later; the line "
        f"'clock: {{tick: {spelled(tick)}}}' in the device file would judge it"
    )


def _overtaking(product: Product, step: int, taken: int, found: int) -> Overtaking:
    late, early = product.rules[taken], product.rules[found]
    lasts = [_lasts(product, one) for one in (late, early)]
    assert lasts[0] is not None
    assert lasts[1] is not None
    return Overtaking(step, late, lasts[0], early, lasts[1])


def _lasts(product: Product, rule: Rule) -> Duration | None:
    """How long a rule waits; None if it waits for no time."""
    if rule.expires:
        return product.device.chips[rule.chip].timers[rule.expires].duration
    return rule.after


class _Running:
    """The rules whose time runs, by number: the step in which it began, and whether the rule could
    have been taken in every state since.
    """

    def __init__(self, product: Product) -> None:
        self._product = product
        self._interpreter = Interpreter(product)
        self._timed = [n for n, rule in enumerate(product.rules) if _lasts(product, rule)]
        self._since: dict[int, dict[str, int]] = {own: {} for own in self._timed}
        """For each state that a rule waits in, and that its chip is in, the step in which it was
        entered, outer states last; for a named timer that runs, the step in which it was started.
        """
        self._free: set[int] = set()
        for chip in range(len(product.chips)):
            self._begin_afresh(chip, product.initial, 0)
        self._look(product.initial)

    def began(self, own: int) -> int | None:
        """The step in which the time of a rule began that is running; a rule waits for the time of
        the innermost of its states.
        """
        return next(iter(self._since[own].values()), None) if own in self._since else None

    def overtaken_by(self, taken: int) -> int | None:
        """The shortest rule that has to be taken before this one can; None if there is none."""
        lasts, began = _lasts(self._product, self._product.rules[taken]), self.began(taken)
        if lasts is None or began is None:
            return None
        earlier = {
            number: latest.high
            for number in self._timed
            if (since := self.began(number)) is not None
            and since <= began
            and number in self._free
            and self._is_obliged(number)
            and (latest := _lasts(self._product, self._product.rules[number])) is not None
            and latest.high is not None
            and latest.high < lasts.low
        }
        return min(earlier, key=earlier.__getitem__, default=None)

    def go_on(self, number: int, after: State, happenings: Sequence[Happening]) -> None:
        """Follow a step that leads to a state."""
        for one in happenings:
            if isinstance(one, Struck):
                self._begin_afresh(one.chip, after, number)
            elif isinstance(one, Took):
                self._follow(one, number)
        self._look(after)

    def _begin_afresh(self, chip: int, state: State, number: int) -> None:
        """A chip that starts: its named timers are stopped."""
        form = self._product.chips[chip]
        leaf = form.leaves[state[form.state_field]]
        for own in self._rules_of(chip):
            rule = self._product.rules[own]
            states = () if rule.expires else _states_of(self._chip(own), rule, leaf)
            self._set(own, dict.fromkeys(states, number))

    def _follow(self, took: Took, number: int) -> None:
        leaves = self._product.chips[took.chip].leaves
        taken = self._product.rules[took.rule]
        for own in self._rules_of(took.chip):
            rule = self._product.rules[own]
            if rule.expires:
                self._follow_named(own, rule, taken, number)
                continue
            chip, known = self._chip(own), self._since[own]
            kept = _kept_states(chip, taken, leaves[took.before])
            since = {
                state: known[state] if state in known and state in kept else number
                for state in _states_of(chip, rule, leaves[took.after])
            }
            if rule.whole == taken.whole and taken.target is None:  # all branches are one timer
                since[next(iter(since))] = number
            self._set(own, since)

    def _follow_named(self, own: int, rule: Rule, taken: Rule, number: int) -> None:
        if rule.expires in taken.starts:
            self._set(own, {rule.expires: number})
        elif rule.expires == taken.expires or rule.expires in taken.stops:
            self._set(own, {})

    def _set(self, own: int, since: dict[str, int]) -> None:
        """What runs from now on; where a rule waits anew, it has been free ever since."""
        was = self.began(own)
        self._since[own] = since
        if self.began(own) != was:
            self._free.add(own)

    def _look(self, state: State) -> None:
        """Rules that cannot be taken in a state may let their latest moment pass there."""
        steps = self._interpreter.steps(state)
        self._free &= {self._product.labels[step.label].rule for step in steps}

    def _is_obliged(self, own: int) -> bool:
        """Whether time cannot pass the latest moment of a rule while it is free. It does pass that
        of a rule without fairness. And where a more urgent activity waits for a time, the timers
        of the others may stand still, which nobody sees without a clock.
        """
        device, chip = self._product.device, self._chip(own)
        return fairness_of(device, self._product.rules[own]) != "none" and not any(
            urgent.runs_on == chip.runs_on and urgent.priority > chip.priority
            for urgent in (self._chip(other) for other in self._timed if chip.runs_on)
        )

    def _rules_of(self, chip: int) -> Iterator[int]:
        return (own for own in self._timed if self._product.rule_chips[own] == chip)

    def _chip(self, own: int) -> Chip:
        return self._product.device.chips[self._product.rules[own].chip]


def _states_of(chip: Chip, rule: Rule, leaf: str) -> tuple[str, ...]:
    """The states in whose time a rule can wait in a leaf, innermost first; "" is the whole chip."""
    sources = rule.sources or ("",)
    return tuple(state for state in chip.ancestry(leaf) if state in sources)


def _kept_states(chip: Chip, taken: Rule, leaf: str) -> set[str]:
    """The states that a rule taken in a leaf does not exit: those around both its own state and its
    target (`product/timing.py`), or all if it has none.
    """
    if taken.target is None:
        return set(chip.ancestry(leaf))
    source = next(iter(_states_of(chip, taken, leaf)), "")
    around = chip.ancestry(source)[1:] if source else ()
    return set(around) & set(chip.ancestry(taken.target)[1:])
