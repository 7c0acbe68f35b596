"""Which constants decide how long a stretch takes: those on its critical path.

The path is followed backwards from the last step. A step for which a timer or a link's delay had
run leads to the step with which that began, and the constant is noted; any other step leads to the
one before it. What ran beside the path is left out: it could have been shorter all the same.

What a periodic rule takes up has waited for it since the last step that changed anything, and not
for all the periods before.
"""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from modecheck.checks.ways import Way
from modecheck.engine.happenings import Accepted, Arrived, Doubled, Dropped, Passed, Struck, Took
from modecheck.engine.plain import Interpreter, State, Step
from modecheck.model.parts import Duration, Rule
from modecheck.model.places import Place
from modecheck.product.form import Product


@dataclass(frozen=True, slots=True)
class Constant:
    """A duration of a model: whose it is, what it says, and where."""

    name: str
    duration: Duration

    @property
    def place(self) -> Place:
        return self.duration.places[0]


@dataclass(frozen=True, slots=True)
class Decider:
    """A constant on the critical path: how often it ran there, and for how many ticks in all."""

    constant: Constant
    times: int
    ticks: int


def deciders(product: Product, way: Way) -> tuple[Decider, ...]:
    """The constants that decide a way from where its clock starts, or its loop if it has one; the
    one that ran longest first.
    """
    return _Path(product, way).deciders()


def constant_of_rule(product: Product, rule: Rule) -> Constant | None:
    """What a rule waits for, if it does."""
    if rule.expires:
        timer = product.device.chips[rule.chip].timers[rule.expires]
        return Constant(f"{rule.chip}.{timer.name}", timer.duration)
    if rule.after is None:
        return None
    title = rule.title if ":" not in rule.title else ("every" if rule.periodic else "after")
    return Constant(f"{rule.chip}.{title}", rule.after)


def changes_anything(product: Product, before: State, after: State) -> bool:
    """Whether two states differ in more than how long timers have run: in a state of a chip, a
    variable, or what is under way.
    """
    ages = {slot.age for queue in product.queues for slot in queue.slots}
    slots = {field for queue in product.queues for slot in queue.slots for field in slot.fields}
    kept = slots - ages | {chip.state_field for chip in product.chips}
    return any(
        was != now and (number in kept or product.fields[number].type is not None)
        for number, (was, now) in enumerate(zip(before, after, strict=True))
    )


class _Path:
    def __init__(self, product: Product, way: Way) -> None:
        self._product = product
        self._begin = way.switch_from
        if 0 < way.loop_from <= len(way.moves):
            self._begin = way.loop_from - 1
        self._steps = _steps_of(product, way)
        self._sent = _send_steps(self._steps)
        passed = [0]
        for step in self._steps:
            ticks = sum(one.ticks for one in step.happenings if isinstance(one, Passed))
            passed.append(passed[-1] + ticks)
        self._passed = passed
        states = [product.initial, *(move.after for move in way.moves)]
        self._changes = [
            before is None or after is None or changes_anything(product, before, after)
            for before, after in pairwise(states)
        ]

    def deciders(self) -> tuple[Decider, ...]:
        times: Counter[Constant] = Counter()
        ticks: Counter[Constant] = Counter()
        at = len(self._steps) - 1
        while at >= self._begin:
            cause = self._cause(at)
            if cause is None or cause[1] >= at:
                at -= 1
                continue
            constant, since = cause
            lasted = self._passed[at] - self._passed[max(since + 1, self._begin)]
            if lasted:
                times[constant] += 1
                ticks[constant] += lasted
            at = since
        order = sorted(times, key=lambda one: (-ticks[one], one.name))
        return tuple(Decider(one, times[one], ticks[one]) for one in order)

    def _cause(self, at: int) -> tuple[Constant, int] | None:
        """What a step has waited for, and the step with which that began (-1: with the start)."""
        label = self._product.labels[self._steps[at].label]
        if label.kind == "rule":
            constant = constant_of_rule(self._product, self._product.rules[label.rule])
            return None if constant is None else (constant, self._began(at, label.rule))
        if label.kind in ("deliver", "ignore"):
            link = self._product.device.links[self._product.queues[label.queue].name]
            if link.delay is not None and at in self._sent:
                return Constant(f"{link.name} delay", link.delay), self._sent[at]
        return None

    def _began(self, at: int, number: int) -> int:
        """The last step before that in which the rule's timer began to run."""
        chip, rule = self._product.rule_chips[number], self._product.rules[number]
        for earlier in range(at - 1, -1, -1):
            if rule.periodic and self._changes[earlier]:
                return earlier
            if rule.periodic:
                continue
            for one in self._steps[earlier].happenings:
                if isinstance(one, Struck) and one.chip == chip:
                    return earlier
                if isinstance(one, Took) and one.chip == chip:
                    taken = self._product.rules[one.rule]
                    if self._begins(rule, taken, again=one.rule == number):
                        return earlier
        return -1

    @staticmethod
    def _begins(rule: Rule, taken: Rule, *, again: bool) -> bool:
        if rule.expires:
            return rule.expires in taken.starts
        return again or taken.target is not None


def _steps_of(product: Product, way: Way) -> list[Step]:
    """The steps of a way, as the interpreter takes them."""
    interpreter, state = Interpreter(product), product.initial
    steps = []
    for move in way.moves:
        possible = interpreter.steps(state)
        step = next(s for s in possible if s.label == move.label and s.after == move.after)
        steps.append(step)
        state = step.after or state
    return steps


def _send_steps(steps: Sequence[Step]) -> dict[int, int]:
    """For each step in which a message arrives, the one in which it was sent."""
    waiting: dict[int, deque[int]] = defaultdict(deque)
    found: dict[int, int] = {}
    for number, step in enumerate(steps):
        for one in step.happenings:
            if isinstance(one, Accepted) and not one.merged:
                waiting[one.queue].append(number)
            elif isinstance(one, Arrived) and waiting[one.queue]:
                found[number] = waiting[one.queue].popleft()
            elif isinstance(one, Dropped) and waiting[one.queue]:
                waiting[one.queue].popleft()
            elif isinstance(one, Doubled) and waiting[one.queue]:
                waiting[one.queue].insert(1, waiting[one.queue][0])
    return found
