"""Which constants decide how long a stretch takes: those on its critical path.

The path is followed backwards from the last step. A step that waited for a timer or a link's delay
leads to the step that started it, and the constant is recorded; any other step leads to the one
before it. What ran in parallel with the path is left out, since it does not decide the length.

A periodic rule counts as waiting since the last step that changed anything, not for all the periods
before.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from operator import itemgetter
from typing import TypeAlias

from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Doubled,
    Dropped,
    Passed,
    Struck,
    Took,
)
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.parts import Rule
from modecheck.model.places import Place
from modecheck.model.times import Duration
from modecheck.product.ir import Product, Queue
from modecheck.scenario.replay import Move
from modecheck.scenario.traces import Trace

Queued: TypeAlias = Accepted | Arrived | Corrupted | Doubled | Dropped
QUEUED = (Accepted, Arrived, Corrupted, Doubled, Dropped)
"""What happens to messages in a queue."""


@dataclass(frozen=True, slots=True)
class ModelDuration:
    """A duration in a model, with a name that says which part it belongs to."""

    name: str
    duration: Duration

    @property
    def place(self) -> Place:
        return self.duration.places[0]


@dataclass(frozen=True, slots=True)
class Decider:
    """A constant on the critical path: how often it ran there, and for how many ticks in total."""

    constant: ModelDuration
    times: int
    ticks: int


def deciders(product: Product, trace: Trace) -> tuple[Decider, ...]:
    """The constants that decide how long a trace takes from where its clock starts, or its loop if
    it has one; the one that ran longest first.
    """
    return _Path(product, trace).deciders()


def constant_of_rule(product: Product, rule: Rule) -> ModelDuration | None:
    """The duration that a rule waits for, or None."""
    if rule.expires:
        timer = product.device.chips[rule.chip].timers[rule.expires]
        return ModelDuration(f"{rule.chip}.{timer.name}", timer.duration)
    if rule.after is None:
        return None
    title = rule.title if ":" not in rule.title else ("period" if rule.periodic else "after")
    return ModelDuration(f"{rule.chip}.{title}", rule.after)


def changes_anything(product: Product, before: State, after: State) -> bool:
    """Whether two states differ in more than how long timers have run: in a state of a chip, a
    variable, or what is in flight.
    """
    lasting = lasting_part(product)
    return lasting(before) != lasting(after)


def lasting_part(product: Product) -> Callable[[State], object]:
    """A function from a state to all of it except how long timers have run."""
    ages = {slot.age for queue in product.queues for slot in queue.slots}
    slots = {field for queue in product.queues for slot in queue.slots for field in slot.fields}
    kept = slots - ages | {chip.state_field for chip in product.chips}
    fields = enumerate(product.fields)
    return itemgetter(*(n for n, field in fields if n in kept or field.type is not None))


class _Path:
    """A trace can have as many steps as a window has ticks, so the interpreter replays only those
    in which something relevant may have happened.
    """

    def __init__(self, product: Product, trace: Trace) -> None:
        self._product = product
        self._begin = trace.switch_from
        if 0 < trace.loop_from <= len(trace.moves):
            self._begin = trace.loop_from - 1
        self._moves = trace.moves
        self._states = [product.initial, *(move.after for move in trace.moves)]
        self._steps = _Steps(product, self._states, trace.moves)
        self._passed = [0, *accumulate(self._ticks(at) for at in range(len(trace.moves)))]
        self._takers = _Takers(product)
        self._beginning: dict[tuple[int, int], bool] = {}
        self._lasting = lasting_part(product)
        self._sent: dict[tuple[int, int], int] = {}
        self._followed: dict[int, int] = {}

    def _ticks(self, at: int) -> int:
        time = self._product.time
        if time is None or self._moves[at].label != time.label:
            return 0
        if not time.accelerated:
            return 1
        return sum(one.ticks for one in self._steps[at].happenings if isinstance(one, Passed))

    def deciders(self) -> tuple[Decider, ...]:
        times: Counter[ModelDuration] = Counter()
        ticks: Counter[ModelDuration] = Counter()
        at = len(self._moves) - 1
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

    def _cause(self, at: int) -> tuple[ModelDuration, int] | None:
        """What a step has waited for, and the step that started it (-1: the start)."""
        label = self._product.labels[self._moves[at].label]
        if label.kind == "rule":
            constant = constant_of_rule(self._product, self._product.rules[label.rule])
            return None if constant is None else (constant, self._began(at, label.rule))
        if label.kind in ("deliver", "discard"):
            link = self._product.device.links[self._product.queues[label.queue].name]
            sent = None if link.delay is None else self._sent_in(at, label.queue)
            if link.delay is not None and sent is not None:
                return ModelDuration(f"{link.name} delay", link.delay), sent
        return None

    def _began(self, at: int, number: int) -> int:
        """The last step before that in which the rule's timer began to run."""
        chip, rule = self._product.rule_chips[number], self._product.rules[number]
        for earlier in range(at - 1, -1, -1):
            if rule.periodic:
                if self._changes(earlier):
                    return earlier
                continue
            if not self._may_begin(number, self._moves[earlier].label):
                continue
            for one in self._steps[earlier].happenings:
                if isinstance(one, Struck) and one.chip == chip:
                    return earlier
                if isinstance(one, Took) and one.chip == chip:
                    taken = self._product.rules[one.rule]
                    if self._begins(rule, taken, again=one.rule == number):
                        return earlier
        return -1

    def _may_begin(self, number: int, label: int) -> bool:
        """Whether the timer of a rule may begin to run in a step with a label."""
        known = self._beginning.get((number, label))
        if known is None:
            chips, rules = self._product.rule_chips, self._product.rules
            taken = self._takers.of(label)
            known = taken is None or any(
                chips[one] == chips[number]
                and self._begins(rules[number], rules[one], again=one == number)
                for one in taken
            )
            self._beginning[number, label] = known
        return known

    def _changes(self, at: int) -> bool:
        before, after = self._states[at : at + 2]
        return before is None or after is None or self._lasting(before) != self._lasting(after)

    @staticmethod
    def _begins(rule: Rule, taken: Rule, *, again: bool) -> bool:
        if rule.expires:
            return rule.expires in taken.starts
        return again or taken.target is not None

    def _sent_in(self, at: int, queue: int) -> int | None:
        """The step in which the message was sent that arrives in a step."""
        if at < self._followed.get(queue, at + 1):
            self._follow(at, queue)
        return self._sent.get((queue, at))

    def _follow(self, at: int, queue: int) -> None:
        """Record which step sent what arrived up to a step, from where the queue was last empty."""
        code = self._product.queues[queue].slots[0].code
        first = at
        while first > 0 and (state := self._states[first]) is not None and state[code]:
            first -= 1
        self._followed[queue] = first
        waiting = _Waiting(self._product.queues[queue])
        for number in range(first, at + 1):
            for one in self._steps[number].happenings:
                if isinstance(one, QUEUED) and one.queue == queue:
                    sent = waiting.follow(one, number)
                    if isinstance(one, Arrived) and sent is not None:
                        self._sent[queue, number] = sent


class _Waiting:
    """What waits in a queue: each message with its value, and the step in which it was sent."""

    def __init__(self, queue: Queue) -> None:
        self._queue = queue
        self._sent: list[tuple[int, int, int]] = []

    def follow(self, one: Queued, step: int) -> int | None:
        """What happens to a message in a step; returns the step in which that was sent."""
        if isinstance(one, Accepted):
            if not one.merged:
                self._sent.append((one.message, one.value, step))
            return None
        if not self._sent or (isinstance(one, Dropped) and not one.queued):
            return None
        place = self._place(one.message, one.value)
        sent = self._sent[place][2]
        if isinstance(one, Doubled):
            self._sent.insert(place + 1, self._sent[place])
        elif isinstance(one, Corrupted):
            self._sent[place] = (self._queue.corrupted, 0, sent)
        else:
            del self._sent[place]
        return sent

    def _place(self, message: int, value: int) -> int:
        """The head of the queue; where messages may overtake each other, the first of its like."""
        held = [(code, carried) for code, carried, _ in self._sent]
        alike = self._queue.any_order and (message, value) in held
        return held.index((message, value)) if alike else 0


class _Steps:
    """The steps of a trace, each replayed on the interpreter when it is first needed."""

    def __init__(
        self, product: Product, states: Sequence[State | None], moves: Sequence[Move]
    ) -> None:
        self._interpreter = Interpreter(product)
        self._states = states
        self._moves = moves
        self._taken: dict[int, Step] = {}

    def __getitem__(self, at: int) -> Step:
        known = self._taken.get(at)
        if known is None:
            before, move = self._states[at], self._moves[at]
            assert before is not None, "a step that fails is the last one"
            known = self._interpreter.step_to(before, move.label, move.after, move.ticks)
            assert known is not None, "a trace has steps of its product"
            self._taken[at] = known
        return known


class _Takers:
    """Which rules may be taken in a step, by its label: at least those that are.

    None are taken where time passes. In a step of a rule it is that one, and those with which other
    chips may react to a signal that one of them emits; no chip is reset then.
    """

    def __init__(self, product: Product) -> None:
        self._product = product
        self._signalled: dict[int, set[int]] = defaultdict(set)
        self._heard: dict[int, set[int]] = defaultdict(set)
        for chip in product.chips:
            for reaction in chip.reactions:
                self._signalled[reaction.rule].update(reaction.signals)
            for hearing in chip.hearings:
                for signal, reactions in hearing.items():
                    self._heard[signal].update(one.rule for one in reactions)

    def of(self, number: int) -> set[int] | None:
        """The rules; None for a step in which any may be taken, or a chip be reset."""
        label = self._product.labels[number]
        if label.kind == "tick":
            return set()
        if label.kind not in ("rule", "deliver"):
            return None
        pending = [label.rule]
        taken = {label.rule}
        while pending:
            signals = self._signalled[pending.pop()]
            new = {rule for signal in signals for rule in self._heard[signal]} - taken
            taken |= new
            pending += new
        return taken
