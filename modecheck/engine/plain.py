"""The plain interpreter: all steps of a product from a state. The reference for every engine.

The parts of one step, in this order:

1. A delivery takes the head off its queue. Where no rule for it is enabled, but some would be if
   their links had room (`when_full: wait`), it stays where it is, and there is no step.
2. The rule's assignments run in order; its sends are collected; the chip enters its new leaf.
3. Signals are heard in the order in which they were given. For each, every chip but the one
   that gave it is judged on the same snapshot, and those with an enabled rule move together;
   what they signal is heard after what was signalled before. A signal cannot wait: where no rule of
   a chip is enabled, but some would be if their links had room, the step fails.
4. Collected sends are put into their queues, where the link is up in the state reached so far.
5. Links that are down are emptied, or what waits in them becomes late.
6. Observers go on, judged on the state reached and on what happened in the step.

A failure anywhere (overflow, a value out of range, an unspecified reception, a signal without room
for its answer) makes the whole step a failing step, which leads nowhere. It names all that fail
together, each failure once. A rule stops at its first failure, in the order of part 2; what else
goes on at once is gone through:

- of one signal, every chip that could hear it: first those that fail when they are judged, then
  those that move, both in the order of the chips. What they raised is not heard any more, and
  nothing is queued.
- at the end, every message that is put into its queue, in the order in which they were sent. What
  fails is left out, and the others are queued all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import NamedTuple

from modecheck.engine.evaluation import Evaluate, Evaluator, StepFailed
from modecheck.engine.event_bits import event_bits
from modecheck.engine.happenings import (
    Accepted,
    Arrived,
    Doubled,
    Dropped,
    Happening,
    Passed,
    SignalEmitted,
    Struck,
    Took,
)
from modecheck.engine.system_actions import comes_first, obliging_labels
from modecheck.product.ir import (
    ChipIR,
    Expression,
    Failure,
    FaultIR,
    Otherwise,
    Product,
    Queue,
    Reaction,
    Reception,
    Room,
    SendIR,
    TargetIR,
    Ticking,
)

State = tuple[int, ...]
NOBODY = -2
"""Number of the chip that evaluates conditions on whole states."""

DISCARDED, DEFERRED, UNSPECIFIED, UNHEARD, BLOCKED = -1, -2, -3, -4, -5
"""Outcomes of an encounter in which no rule was taken; `BLOCKED` where one waited for room."""


class Step(NamedTuple):
    """One atomic step. `after` is None when it fails, and `failures` then says all that failed, in
    the order in which it did. `moved` has a bit for each chip that took a rule, `events` one for
    each watched event that happened. `sent` is all that rules sent, with its value, whatever became
    of it.
    """

    label: int
    after: State | None
    failures: tuple[Failure, ...]
    moved: int
    events: int
    happenings: tuple[Happening, ...]
    sent: tuple[tuple[SendIR, int], ...] = ()

    @property
    def wrong(self) -> str:
        """What is wrong with a failing step, in words; nothing with any other."""
        return "; ".join(failure.text for failure in self.failures)


class Encounter(NamedTuple):
    """An event met a chip in a leaf. `queue` is -1 for signals, whose number is then `event`."""

    chip: int
    leaf: int
    queue: int
    event: int
    outcome: int


@dataclass(slots=True)
class Observed:
    """What was seen while stepping: encounters, observers with the places of their tables that were
    looked up, and for curious rules, although their own guards held, what was in the way: the rule
    that shadowed them, or else `BLOCKED` where their links were full.
    """

    encounters: set[Encounter] = field(default_factory=set)
    taken: set[int] = field(default_factory=set)
    curious: frozenset[int] = frozenset()
    shadowed: dict[int, int] = field(default_factory=dict)
    watched: set[tuple[int, int]] = field(default_factory=set)

    def note_shadow(self, rule: int, by: int) -> None:
        """Keep the first rule that shadows a curious one, rather than that it was blocked."""
        if self.shadowed.get(rule, BLOCKED) == BLOCKED:
            self.shadowed[rule] = by


@dataclass(slots=True)
class _Draft:
    """A step under construction."""

    now: list[int]
    payload: int = 0
    late: int = 0
    moved: int = 0
    sends: list[tuple[SendIR, int]] = field(default_factory=list)
    signalled: list[tuple[int, int]] = field(default_factory=list)
    separate: list[tuple[int, Reaction]] = field(default_factory=list)
    cut: tuple[FaultIR, int, int] | None = None
    struck: int = -1
    log: list[Happening] = field(default_factory=list)
    failures: dict[Failure, None] = field(default_factory=dict)

    @contextmanager
    def part(self) -> Iterator[None]:
        """What goes on at once with other parts: where it fails, they are gone through, too."""
        try:
            yield
        except StepFailed as failed:
            self.failures |= dict.fromkeys(failed.failures)

    def failed(self, label: int) -> Step:
        """The failing step that this has become."""
        return Step(label, None, tuple(self.failures), 0, 0, tuple(self.log))


class Interpreter:
    """Enumerates the steps of one product. Order: chips' own steps, deliveries, faults, a tick,
    observers' choices, idling.
    """

    def __init__(self, product: Product, observed: Observed | None = None) -> None:
        self.product = product
        self.observed = observed if observed is not None else Observed()
        self.evaluator = Evaluator(product)
        self._bits = event_bits(product.events)
        self._reported = (1 << len(product.watched_events)) - 1
        self._obliging = obliging_labels(product)
        self._idles = product.idle_field >= 0
        self._ups = [self._maybe(queue.up, NOBODY) for queue in product.queues]
        self._cuts = [fault for fault in product.faults if fault.of_chip]
        self._hearers = [self._hearers_of(signal) for signal in range(len(product.signals))]

    def _hearers_of(self, signal: int) -> list[tuple[int, ChipIR]]:
        """The chips that have a rule for a signal in some leaf."""
        chips = enumerate(self.product.chips)
        return [(n, chip) for n, chip in chips if any(signal in heard for heard in chip.hearings)]

    def _maybe(self, expression: Expression | None, chip: int) -> Evaluate | None:
        return None if expression is None else self.evaluator.function(expression, chip)

    def condition(self, expression: Expression, state: Sequence[int]) -> bool:
        """Whether a condition on whole states holds; an index out of range makes it false."""
        try:
            return bool(self.evaluator.function(expression, NOBODY)(state, state, 0, 0))
        except StepFailed:
            return False

    def steps(self, state: State) -> list[Step]:
        """Every atomic step from a state, failing ones included, in a fixed order."""
        if self._idles and state[self.product.idle_field]:
            return [self._idling(state)]
        steps = self._untimed(state)
        # Time comes last: whether it may pass depends on which other steps are possible.
        steps += self._tick(state, steps)
        obliged = any(step.label in self._obliging for step in steps)
        steps += self._choices(state)
        if self._idles and not obliged:
            steps.append(self._idling(state))
        return steps

    def _untimed(self, state: State) -> list[Step]:
        return [*self._own_steps(state), *self._deliveries(state), *self._faults(state)]

    def step_to(
        self, state: State, label: int, after: State | None, ticks: int | None = None
    ) -> Step | None:
        """The first of the `steps` with this label that leads there. Of chips' own steps and of
        deliveries, only those with the label are made.

        With `ticks` it is time that goes on by so many: perhaps fewer than in the product's own
        step, and also where they change nothing, which is no step of the product. What stands
        beside the product may have counted them.
        """
        steps = self._steps_called(state, label) if ticks is None else self._passing(state, ticks)
        called = (step for step in steps if step.label == label)
        return next((step for step in called if step.after == after), None)

    def _steps_called(self, state: State, label: int) -> Iterable[Step]:
        """All steps with a label, and perhaps others, in the order of `steps`."""
        what = self.product.labels[label]
        if self._idles or what.kind not in ("rule", "deliver", "discard"):
            return self.steps(state)
        if what.kind == "rule":
            chip = self.product.chips[what.chip]
            own = (own for own in chip.steps[state[chip.state_field]] if own.label == label)
            return (step for one in own for step in self._step_if_enabled(state, what.chip, one))
        return self._deliveries(state, what.queue)

    def _own_steps(self, state: State) -> Iterator[Step]:
        for number, chip in enumerate(self.product.chips):
            for reaction in chip.steps[state[chip.state_field]]:
                yield from self._step_if_enabled(state, number, reaction)

    def _step_if_enabled(self, state: State, chip: int, reaction: Reaction) -> Iterator[Step]:
        try:
            if not self._enabled(chip, reaction, state, 0, 0):
                self._note_full(chip, reaction, _Draft(list(state)))
                return
        except StepFailed as failed:
            yield Step(reaction.label, None, failed.failures, 0, 0, ())
            return
        yield from self._reacting(_Draft(list(state)), chip, reaction, reaction.label)

    def _deliveries(self, state: State, only: int = -1) -> Iterator[Step]:
        """What queues deliver, or one queue alone."""
        for number, queue in enumerate(self.product.queues):
            if only in (-1, number) and self._is_ripe(state, number, queue):
                yield from self._delivery(state, number, queue, state[queue.slots[0].code])

    def _is_ripe(self, state: State, number: int, queue: Queue) -> bool:
        """Whether the head of a queue, if it has one, has come to its receiver."""
        head = queue.slots[0]
        if not state[head.code] or (head.age >= 0 and state[head.age] < queue.earliest):
            return False
        return self._is_up(number, state)

    def waiting_for_room(self, state: State, chip: int) -> Iterator[tuple[int, int]]:
        """The rules (numbers) that a chip would take by itself, or for a message that has come to
        it, if their links had room: each with a link that is full. Raises `StepFailed` as a guard
        does.
        """
        form = self.product.chips[chip]
        leaf = state[form.state_field]
        chains = [(form.steps[leaf], _Draft(list(state)))]
        for number in form.inputs:
            queue = self.product.queues[number]
            if self._is_ripe(state, number, queue):
                reception = form.receptions[leaf][number, state[queue.slots[0].code]]
                chains.append((reception.reactions, _arrival(state, queue)))
        for reactions, draft in chains:
            for reaction, room in self._full(chip, reactions, draft):
                yield reaction.rule, room.queue

    def _delivery(self, state: State, number: int, queue: Queue, code: int) -> Iterator[Step]:
        receiver = self.product.chips[queue.receiver]
        leaf = state[receiver.state_field]
        reception = receiver.receptions[leaf][number, code]
        draft = _arrival(state, queue)
        try:
            chosen = self._first_enabled(queue.receiver, reception.reactions, draft)
            waits = chosen is None and self._full(queue.receiver, reception.reactions, draft)
        except StepFailed as failed:
            yield Step(reception.discard_label, None, failed.failures, 0, 0, ())
            return
        outcome = chosen.rule if chosen is not None else _outcome(reception.otherwise)
        outcome = BLOCKED if waits else outcome
        self.observed.encounters.add(Encounter(queue.receiver, leaf, number, code, outcome))
        if outcome in (DEFERRED, BLOCKED):
            return
        words = "taken" if chosen else "discarded" if outcome == DISCARDED else "unspecified"
        draft.log.append(Arrived(number, code, draft.payload, bool(draft.late), words))
        if chosen is not None:
            yield from self._reacting(draft, queue.receiver, chosen, chosen.label)
        else:
            yield self._without_rule(draft, reception)

    def _without_rule(self, draft: _Draft, reception: Reception) -> Step:
        label = reception.discard_label
        if reception.otherwise is Otherwise.UNSPECIFIED:
            return Step(label, None, (reception.unspecified,), 0, 0, tuple(draft.log))
        return self._finished(draft, label)

    def _enabled(
        self, chip: int, reaction: Reaction, state: Sequence[int], payload: int, late: int
    ) -> bool:
        if reaction.guard is None:
            return True
        return bool(self.evaluator.function(reaction.guard, chip)(state, state, payload, late))

    def _first_enabled(
        self, chip: int, reactions: tuple[Reaction, ...], draft: _Draft
    ) -> Reaction | None:
        for number, reaction in enumerate(reactions):
            if self._enabled(chip, reaction, draft.now, draft.payload, draft.late):
                self._note_shadowed(chip, reaction, reactions[number + 1 :], draft)
                return reaction
            self._note_full(chip, reaction, draft)
        return None

    def _full(
        self, chip: int, reactions: tuple[Reaction, ...], draft: _Draft
    ) -> list[tuple[Reaction, Room]]:
        """Reactions that would be enabled if their links had room, each with each link that is
        full.
        """

        def holds(condition: Expression | None) -> bool:
            if condition is None:
                return True
            function = self.evaluator.function(condition, chip)
            return bool(function(draft.now, draft.now, draft.payload, draft.late))

        wanted = (one for one in reactions if one.rooms and holds(one.own_guard))
        return [(one, room) for one in wanted for room in one.rooms if not holds(room.free)]

    def _note_shadowed(
        self, chip: int, winner: Reaction, later: tuple[Reaction, ...], draft: _Draft
    ) -> None:
        for reaction in later if self.observed.curious else ():
            if reaction.rule not in self.observed.curious:
                continue
            if self._enabled(chip, reaction, draft.now, draft.payload, draft.late):
                self.observed.note_shadow(reaction.rule, winner.rule)
            else:
                self._note_full(chip, reaction, draft)

    def _note_full(self, chip: int, reaction: Reaction, draft: _Draft) -> None:
        """Note that a curious rule, which is not enabled, would be if its links had room."""
        if reaction.rule in self.observed.curious and self._full(chip, (reaction,), draft):
            self.observed.note_shadow(reaction.rule, BLOCKED)

    def _reacting(self, draft: _Draft, chip: int, reaction: Reaction, label: int) -> Iterator[Step]:
        """The step that begins with this reaction, and its variants cut in the middle of a rule."""
        start, log = list(draft.now), list(draft.log)
        payload, late = draft.payload, draft.late
        yield self._completed(draft, chip, reaction, label)
        for cut in self._possible_cuts(draft):
            again = _Draft(list(start), payload, late, cut=cut, log=list(log))
            fault, rule, done = cut
            step = self._completed(again, chip, reaction, fault.cut_labels[rule, done])
            # What fails before the cut strikes has failed without it already.
            if not step.failures or again.struck >= 0:
                yield step

    def _possible_cuts(self, draft: _Draft) -> list[tuple[FaultIR, int, int]]:
        torn = {reaction.rule: (chip, reaction) for chip, reaction in draft.separate}
        return [
            (fault, reaction.rule, done)
            for chip, reaction in torn.values()
            for fault in self._cuts
            if fault.target == chip and self._affordable(fault, draft.now)
            for done in reaction.cuts
        ]

    def _affordable(self, fault: FaultIR, state: Sequence[int]) -> bool:
        return fault.budget < 0 or state[fault.budget] > 0

    def _completed(self, draft: _Draft, chip: int, reaction: Reaction, label: int) -> Step:
        with draft.part():
            self._react(draft, chip, reaction, list(draft.now), -1)
        while draft.signalled and not draft.failures:
            signal, signaller = draft.signalled.pop(0)
            self._hear(draft, signal, signaller)
        if draft.failures:
            return draft.failed(label)
        if draft.cut is not None:
            fault, rule, done = draft.cut
            self._strike(draft, fault, rule, done)
        return self._finished(draft, label)

    def _react(
        self, draft: _Draft, chip: int, reaction: Reaction, snapshot: Sequence[int], heard: int
    ) -> None:
        form = self.product.chips[chip]
        before = draft.now[form.state_field]
        draft.moved |= 1 << chip
        if reaction.cuts:
            draft.separate.append((chip, reaction))
        # A power cut strikes between two writes: what the rule would have done after them is lost.
        if draft.cut is not None and draft.cut[0].target == chip and draft.cut[1] == reaction.rule:
            self._assign(draft, chip, reaction, snapshot, draft.cut[2])
            draft.struck = chip
            return
        self.observed.taken.add(reaction.rule)
        self._assign(draft, chip, reaction, snapshot, len(reaction.assigns))
        for send in reaction.sends:
            draft.sends.append((send, self._value_sent(draft, chip, send, snapshot)))
        if reaction.enters >= 0:
            draft.now[form.state_field] = reaction.enters
        draft.log.append(Took(chip, reaction.rule, before, draft.now[form.state_field], heard))
        for signal in reaction.signals:
            draft.signalled.append((signal, chip))
            draft.log.append(SignalEmitted(chip, signal))

    def _assign(
        self, draft: _Draft, chip: int, reaction: Reaction, snapshot: Sequence[int], count: int
    ) -> None:
        function, now = self.evaluator.function, draft.now
        for assign in reaction.assigns[:count]:
            values = [
                function(value, chip)(now, snapshot, draft.payload, draft.late)
                for value in assign.values
            ]
            fields = [self._field(target, chip, draft, snapshot) for target in assign.targets]
            for target, where, value in zip(assign.targets, fields, values, strict=True):
                if not target.low <= value <= target.high:
                    raise StepFailed(target.failure)
                now[where] = int(value)

    def _field(self, target: TargetIR, chip: int, draft: _Draft, snapshot: Sequence[int]) -> int:
        if target.index is None:
            return target.first
        function = self.evaluator.function(target.index, chip)
        index = function(draft.now, snapshot, draft.payload, draft.late)
        if not 0 <= index < target.length:
            raise StepFailed(target.failure)
        return target.first + index

    def _value_sent(self, draft: _Draft, chip: int, send: SendIR, snapshot: Sequence[int]) -> int:
        if send.value is None:
            return 0
        function = self.evaluator.function(send.value, chip)
        value = int(function(draft.now, snapshot, draft.payload, draft.late))
        message = self.product.queues[send.queue].messages[send.message - 1]
        if not message.low <= value <= message.high:
            raise StepFailed(send.value_failure)
        return value

    def _hear(self, draft: _Draft, signal: int, signaller: int) -> None:
        """Every other chip with an enabled rule for the signal moves, judged on one snapshot."""
        snapshot = list(draft.now)
        draft.payload = draft.late = 0  # those of a message, which a signal does not have
        movers = []
        for number, chip in self._hearers[signal]:
            if number in (signaller, draft.struck):
                continue
            with draft.part():
                chosen = self._chosen_hearing(draft, number, chip, signal)
                movers += [(number, chosen)] if chosen is not None else []
        # All are judged before any of them moves, so the order of chips in a file does not matter;
        # each that fails is named, since none of them is the cause of another's failure.
        for number, reaction in movers:
            with draft.part():
                self._react(draft, number, reaction, snapshot, signal)

    def _chosen_hearing(
        self, draft: _Draft, number: int, chip: ChipIR, signal: int
    ) -> Reaction | None:
        """What a chip does when it hears a signal, if anything."""
        leaf = draft.now[chip.state_field]
        reactions = chip.hearings[leaf].get(signal, ())
        chosen = self._first_enabled(number, reactions, draft)
        blocked = [] if chosen is not None else self._full(number, reactions, draft)
        outcome = BLOCKED if blocked else UNHEARD if chosen is None else chosen.rule
        self.observed.encounters.add(Encounter(number, leaf, -1, signal, outcome))
        for _, room in blocked:
            raise StepFailed(room.full)
        return chosen

    def _finished(self, draft: _Draft, label: int) -> Step:
        for send, value in draft.sends:
            with draft.part():
                self._queue(draft, send, value)
        if draft.failures:
            return draft.failed(label)
        # Links are judged on the state that the step leads to, so that a rule that unplugs a cable
        # also loses what is still in it.
        for number, queue in enumerate(self.product.queues):
            if draft.now[queue.slots[0].code] and not self._is_up(number, draft.now):
                self._take_down(draft, number, queue)
        events = self._events(draft) if self.product.events else 0
        for number in range(len(self.product.observers)):
            self._watch(draft.now, number, events)
        reported = events & self._reported
        now, log, sent = tuple(draft.now), tuple(draft.log), tuple(draft.sends)
        return Step(label, now, (), draft.moved, reported, log, sent)

    def _events(self, draft: _Draft) -> int:
        """The bits of all events that happened in a step."""
        bits = 0
        for send, _ in draft.sends:
            bits |= self._bits.sent.get((send.queue, send.message), 0)
        for happening in draft.log:
            bits |= self._events_in(happening)
        return bits

    def _events_in(self, happening: Happening) -> int:
        bits = self._bits
        match happening:
            case Accepted(queue, message):
                return bits.accepted.get((queue, message), 0)
            case Dropped(queue, message):
                return bits.dropped.get((queue, message), 0)
            case Arrived(queue, message, _, late):
                late_bits = bits.late.get((queue, message), 0) if late else 0
                return bits.delivered.get((queue, message), 0) | late_bits
            case SignalEmitted(_, signal):
                return bits.signalled.get(signal, 0)
            case Took(_, rule):
                return bits.taken.get(rule, 0)
            case Passed():
                return bits.ticks
        return 0

    def _watch(self, now: list[int], number: int, events: int) -> None:
        """An observer goes on; an atom with an index out of range is false."""
        observer = self.product.observers[number]
        index = now[observer.field] << len(observer.atoms)
        for bit, atom in enumerate(observer.atoms):
            try:
                holds = self.evaluator.function(atom, NOBODY)(now, now, events, 0)
            except StepFailed:
                continue
            index |= bool(holds) << bit
        self.observed.watched.add((number, index))
        now[observer.field] = observer.table[index]
        if observer.count >= 0 and now[observer.field] not in observer.counting:
            now[observer.count] = 0

    def _tick(self, state: State, others: Sequence[Step]) -> Iterator[Step]:
        """Time goes on as far as one step takes it, unless that changes nothing."""
        running, most = self._running(state, others)
        if most:
            step = self._passed(state, running, most)
            if step.after != state:
                yield step

    def _passing(self, state: State, ticks: int) -> Iterator[Step]:
        """Time goes on by so many ticks, where it may, whether or not that changes anything."""
        running, most = self._running(state, self._untimed(state))
        if 0 < ticks <= most:
            yield self._passed(state, running, ticks)

    def _running(self, state: State, others: Sequence[Step]) -> tuple[list[Ticking], int]:
        """The counts that go on, and how far they may in one step: not at all where something else
        has to happen first.
        """
        time = self.product.time
        if time is None or self.time_waits(state, [step.label for step in others]):
            return [], 0
        running = [one for one in time.tickings if self.condition(one.runs, state)]
        if not time.accelerated or others:
            return running, 1
        stops = (ticks_to_stop(one, state[one.field]) for one in running)
        return running, min(stops, default=NO_STOP)

    def _passed(self, state: State, running: Sequence[Ticking], ticks: int) -> Step:
        time = self.product.time
        assert time is not None, "only time that is counted goes on"
        draft = _Draft(list(state), log=[Passed(ticks)])
        for ticking in running:
            count = state[ticking.field]
            draft.now[ticking.field] = count + ticks if count < ticking.last else ticking.behind
        return self._finished(draft, time.label)

    def time_waits(self, state: State, labels: Iterable[int]) -> bool:
        """Whether time cannot go on in a state whose other steps have these labels: something else
        has to happen first.
        """
        time = self.product.time
        if time is None or any(comes_first(self.product, label, state) for label in labels):
            return True
        return any(self.condition(due.holds, state) for due in time.due)

    def _choices(self, state: State) -> Iterator[Step]:
        """Steps of observers alone: nobody else goes on."""
        for observer in self.product.observers:
            for source, target, label in observer.choices:
                if state[observer.field] == source:
                    after = list(state)
                    after[observer.field] = target
                    yield Step(label, tuple(after), (), 0, 0, ())

    def _idling(self, state: State) -> Step:
        """Nothing happens, and never will."""
        draft = _Draft(list(state))
        draft.now[self.product.idle_field] = 1
        return self._finished(draft, self.product.idle_label)

    def _is_up(self, queue: int, state: Sequence[int]) -> bool:
        up = self._ups[queue]
        if up is None:
            return True
        try:
            return bool(up(state, state, 0, 0))
        except StepFailed:
            return False

    def _queue(self, draft: _Draft, send: SendIR, value: int) -> None:
        queue, now = self.product.queues[send.queue], draft.now
        if not self._is_up(send.queue, now):
            draft.log.append(Dropped(send.queue, send.message, "down"))
            return
        if self._merge(draft, queue, send, value):
            return
        free = [slot for slot in queue.slots if not now[slot.code]]
        if not free:
            if queue.when_full in ("error", "wait"):
                raise StepFailed(send.overflow)
            if queue.when_full == "drop_new":
                draft.log.append(Dropped(send.queue, send.message, "full"))
                return
            draft.log.append(Dropped(send.queue, now[queue.slots[0].code], "full"))
            _pop(now, queue)
            free = [queue.slots[-1]]
        now[free[0].code] = send.message
        if free[0].value >= 0:
            now[free[0].value] = value
        draft.log.append(Accepted(send.queue, send.message, value, merged=False))

    def _merge(self, draft: _Draft, queue: Queue, send: SendIR, value: int) -> bool:
        """A newer state replaces, a relative amount adds to, the last one that waits. A state is
        then of this session; an amount stays late if a part of it is.
        """
        message, now = queue.messages[send.message - 1], draft.now
        if message.kind == "event":
            return False
        for slot in reversed(queue.slots):
            if now[slot.code] == send.message:
                if slot.value >= 0:
                    total = value + now[slot.value] if message.kind == "relative" else value
                    if not message.low <= total <= message.high:
                        raise StepFailed(send.value_failure)
                    now[slot.value] = total
                if slot.late >= 0 and message.kind == "state":
                    now[slot.late] = 0
                draft.log.append(Accepted(send.queue, send.message, value, merged=True))
                return True
        return False

    def _take_down(self, draft: _Draft, number: int, queue: Queue) -> None:
        if queue.holds:
            _make_late(draft.now, queue)
        else:
            self._empty(draft, number, "down")

    def _empty(self, draft: _Draft, number: int, why: str) -> None:
        queue, now = self.product.queues[number], draft.now
        while now[queue.slots[0].code]:
            draft.log.append(Dropped(number, now[queue.slots[0].code], why))
            _pop(now, queue)

    def _faults(self, state: State) -> Iterator[Step]:
        for fault in self.product.faults:
            if not self._affordable(fault, state):
                continue
            draft = _Draft(list(state))
            if fault.of_chip:
                self._strike(draft, fault, -1, 0)
            elif not self._tamper(draft, fault):
                continue
            yield self._finished(draft, fault.label)

    def _tamper(self, draft: _Draft, fault: FaultIR) -> bool:
        """Lose or double the head of a queue; False where there is nothing to do it to."""
        queue, now = self.product.queues[fault.target], draft.now
        code = now[queue.slots[0].code]
        if not code or not self._is_up(fault.target, now):
            return False
        if fault.kind == "lose":
            draft.log.append(Dropped(fault.target, code, "lost"))
            _pop(now, queue)
        elif now[queue.slots[-1].code]:
            return False
        else:
            draft.log.append(Doubled(fault.target, code))
            _double(now, queue)
        self._pay(draft, fault)
        return True

    def _pay(self, draft: _Draft, fault: FaultIR) -> None:
        if fault.budget >= 0:
            draft.now[fault.budget] -= 1

    def _strike(self, draft: _Draft, fault: FaultIR, rule: int, done: int) -> None:
        """The chip falls back to its initial state; persistent variables keep their value."""
        chip: ChipIR = self.product.chips[fault.target]
        draft.log.append(Struck(fault.target, fault.kind, rule, done))
        draft.now[chip.state_field] = chip.initial
        for where, value in chip.restart:
            draft.now[where] = value
        for queue in chip.inputs:
            self._empty(draft, queue, "cut")
        for queue in chip.outputs:
            _make_late(draft.now, self.product.queues[queue])
        self._pay(draft, fault)


NO_STOP = 1 << 40
"""More ticks than any count has to go."""


def ticks_to_stop(ticking: Ticking, count: int) -> int:
    """How many ticks a count may go on before it matters; many where it does not go on."""
    if count >= ticking.last:
        return NO_STOP if ticking.behind == ticking.last else 1
    return next(stop for stop in ticking.stops if stop > count) - count


def _outcome(otherwise: Otherwise) -> int:
    return {
        Otherwise.DISCARD: DISCARDED,
        Otherwise.DEFER: DEFERRED,
        Otherwise.UNSPECIFIED: UNSPECIFIED,
    }[otherwise]


def _arrival(state: State, queue: Queue) -> _Draft:
    """A step that begins with the head of a queue."""
    head = queue.slots[0]
    payload = state[head.value] if head.value >= 0 else 0
    draft = _Draft(list(state), payload, state[head.late] if head.late >= 0 else 0)
    _pop(draft.now, queue)
    return draft


def _pop(now: list[int], queue: Queue) -> None:
    """Take the head off a queue; the others move up."""
    for slot, behind in zip(queue.slots, queue.slots[1:], strict=False):
        for where, source in zip(slot.fields, behind.fields, strict=True):
            now[where] = now[source]
    for where in queue.slots[-1].fields:
        now[where] = 0


def _double(now: list[int], queue: Queue) -> None:
    """Put a copy of the head right behind it; the others move back. There must be room."""
    for slot, before in zip(queue.slots[:0:-1], queue.slots[-2::-1], strict=True):
        for where, source in zip(slot.fields, before.fields, strict=True):
            now[where] = now[source]


def _make_late(now: list[int], queue: Queue) -> None:
    for slot in queue.slots:
        if slot.late >= 0 and now[slot.code]:
            now[slot.late] = 1
