"""The steps of a product as machine code: the same parts, in the same order, as in the reference.

Written after `modecheck.engine.plain`, and sharing no code with it: tests compare both. What the
interpreter decides while it runs is decided here by branches. Where it keeps lists (signals still
to be heard, messages still to be queued) this code knows every entry that there could be, in order,
and gives each a flag that says whether it is there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial

from modecheck.engine.compiled import assembly as ir
from modecheck.engine.compiled.expressions import ProductExpressionCode, Reading
from modecheck.engine.compiled.frame import FALSE, TRUE, FunctionFrame, constant
from modecheck.engine.compiled.observer_code import ObserverCode
from modecheck.engine.compiled.queues import QueueCode, condition_or_false
from modecheck.engine.event_bits import event_bits
from modecheck.product.ir import (
    ChipIR,
    Failure,
    FaultIR,
    Otherwise,
    Product,
    Reaction,
    Reception,
    SendIR,
    Ticking,
    TimeIR,
)

DISCARDED, DEFERRED, UNSPECIFIED, UNHEARD, BLOCKED, UNDECIDED = -1, -2, -3, -4, -5, -6
NO_STOP = 1 << 40
"""More ticks than any count has to go."""
MOST_HEARINGS = 4_000
"""Signals heard in the code of one product, cascades written out; more would take too long."""


class NotCompilableError(Exception):
    """The product needs more than this engine can do; the reference can explore it."""


@dataclass(slots=True)
class Pending:
    """A signal that may have been raised in the step under way, and by whom."""

    signal: int
    signaller: int
    flag: ir.Value | None

    def note(self, builder: ir.Builder) -> None:
        """It is raised."""
        assert self.flag is not None
        builder.store(constant(1), self.flag)


@dataclass(slots=True)
class PendingSend:
    send: SendIR
    flag: ir.Value | None
    value: ir.Value | None

    def note(self, builder: ir.Builder, value: ir.Value | None) -> None:
        """It is sent, perhaps with a value."""
        assert self.flag is not None
        builder.store(constant(1), self.flag)
        if value is not None:
            assert self.value is not None
            builder.store(value, self.value)


@dataclass(slots=True)
class EffectFlags:
    """Where those who may hear a signal note what they signal and send, by chip, rule and place."""

    signalled: dict[tuple[int, int, int], Pending] = field(default_factory=dict)
    sent: dict[tuple[int, int, int], PendingSend] = field(default_factory=dict)


@dataclass(slots=True)
class StepPlan:
    """What is known of the step under way while its code is written.

    `onward` is set in a part beside which others are gone through even if it fails: they begin
    there. `failed` is a flag that says that some part has failed, `named` where each failure was
    first, and `unchecked` whether the step goes on without having looked.
    """

    label: int
    by_system: bool
    payload: ir.Value
    late: ir.Value
    signalled: list[Pending] = field(default_factory=list)
    sends: list[PendingSend] = field(default_factory=list)
    separate: list[tuple[int, Reaction]] = field(default_factory=list)
    cut: tuple[FaultIR, int, int] | None = None
    cut_flag: ir.Value | None = None
    onward: ir.BasicBlock | None = None
    failed: ir.Value | None = None
    unchecked: bool = False
    named: dict[Failure, ir.BasicBlock] = field(default_factory=dict)

    def in_another_part(self, failure: Failure, onward: ir.BasicBlock) -> bool:
        """Whether some part before this one can fail in the same way."""
        return self.named.setdefault(failure, onward) is not onward


class StepCode:
    """Writes the code of every step of a product into a frame."""

    def __init__(
        self,
        product: Product,
        frame: FunctionFrame,
        by_system: Sequence[bool],
        curious: frozenset[int],
    ) -> None:
        self._product = product
        self._frame = frame
        self._by_system = by_system
        self._curious = curious
        self._code = ProductExpressionCode(frame.builder, frame.function)
        self._bits = event_bits(product.events)
        self._queues = QueueCode(product, frame, self._code, self._bits)
        self._observers = ObserverCode(product, frame, self._code)
        self._cuts = [fault for fault in product.faults if fault.of_chip]
        self._hearings = 0
        self._plan = StepPlan(0, False, constant(0), constant(0))

    def write(self) -> None:
        """Chips' own steps, deliveries, faults, a tick, observers; then the end of the function."""
        if self._product.idle_field < 0:
            self._all_but_idling()
        else:
            idles = self._frame.original[self._product.idle_field]
            goes_on = self._frame.builder.icmp_signed("==", idles, constant(0))
            with self._frame.only_if(goes_on):
                self._all_but_idling()
            self._idling()
        self._observers.write()
        self._frame.finish()

    def _all_but_idling(self) -> None:
        for number, chip in enumerate(self._product.chips):
            self._own_steps(number, chip)
        for number in range(len(self._product.queues)):
            self._delivery(number)
        for fault in self._product.faults:
            self._fault(fault)
        if self._product.time is not None:
            self._tick(self._product.time)
        self._observers.choices()

    def _tick(self, time: TimeIR) -> None:
        """Time goes on, unless something else has to happen first."""
        frame, builder = self._frame, self._frame.builder
        with frame.step(time.label):
            self._begin(time.label, constant(0), constant(0))
            frame.unless_time_waits()
            for due in time.due:
                first = condition_or_false(frame, self._code, due.holds, self._reading_all())
                frame.unless(builder.not_(first), frame.step_end)
            running = [(one, self._runs(one)) for one in time.tickings]
            ticks = self._accelerated(running) if time.accelerated else constant(1)
            for ticking, runs in running:
                self._count(ticking, runs, ticks)
            frame.note_events(self._bits.ticks)
            self._queues.finish([], self._reading_all(), self._fail_beside_others)
            self._observers.go_on()
            frame.unless_unchanged()
            frame.emit(by_system=self._plan.by_system)

    def _runs(self, ticking: Ticking) -> ir.Value:
        return condition_or_false(self._frame, self._code, ticking.runs, self._reading_before())

    def _accelerated(self, running: Sequence[tuple[Ticking, ir.Value]]) -> ir.Value:
        """How many ticks go by in one step: all up to the first stop, where nothing else is
        possible.
        """
        builder, far = self._frame.builder, constant(NO_STOP)
        ticks = far
        for ticking, runs in running:
            count = self._frame.original[ticking.field]
            own = far if ticking.behind == ticking.last else constant(1)
            for stop in reversed(ticking.stops):
                before = builder.icmp_signed("<", count, constant(stop))
                own = builder.select(before, builder.sub(constant(stop), count), own)
            own = builder.select(runs, own, far)
            ticks = builder.select(builder.icmp_signed("<", own, ticks), own, ticks)
        alone = self._frame.nothing_written()
        some = builder.icmp_signed("<", ticks, far)
        return builder.select(builder.and_(alone, some), ticks, constant(1))

    def _count(self, ticking: Ticking, runs: ir.Value, ticks: ir.Value) -> None:
        """So many more, or on to what comes behind the last, where it runs."""
        frame, builder = self._frame, self._frame.builder
        count = frame.original[ticking.field]
        more = builder.icmp_signed("<", count, constant(ticking.last))
        onward = builder.add(count, ticks)
        new = builder.select(more, onward, constant(ticking.behind))
        kept = frame.read(ticking.field)
        frame.write(ticking.field, builder.select(runs, new, kept))

    def _reading_before(self) -> Reading:
        """How conditions read the state in which the step begins."""
        original = self._frame.original
        return Reading(original.__getitem__, constant(0), constant(0), self._fail)

    def _idling(self) -> None:
        """Where nothing has to happen any more, a step in which nothing happens, and never will."""
        with self._frame.step(self._product.idle_label):
            self._begin(self._product.idle_label, constant(0), constant(0))
            self._frame.unless_obliged()
            self._frame.write(self._product.idle_field, constant(1))
            self._finish_step()

    def _reading(self, chip: int, snapshot: dict[int, ir.Value] | None = None) -> Reading:
        """How a chip reads: its own fields as they are, others' as in the snapshot, if any."""
        frame = self._frame

        def read(number: int) -> ir.Value:
            if snapshot is None or self._product.fields[number].owner == chip:
                return frame.read(number)
            return snapshot.get(number, frame.original[number])

        return Reading(read, self._plan.payload, self._plan.late, self._fail)

    def _fail(self, failure: Failure) -> None:
        plan, frame = self._plan, self._frame
        if plan.onward is not None:
            self._fail_beside_others(failure, plan.onward)
        elif plan.cut is None:
            frame.fail(failure, frame.step_end, by_system=plan.by_system)
        else:
            # A cut that has not struck yet is no step of its own: its failure is reported already.
            frame.builder.branch(frame.step_end)

    def _fail_beside_others(self, failure: Failure, onward: ir.BasicBlock) -> None:
        """A part fails, and the others are gone through, from a block on."""
        plan, frame = self._plan, self._frame
        if onward not in plan.named.values():
            frame.most_records += 1
        once = plan.in_another_part(failure, onward)
        plan.failed, plan.unchecked = plan.failed or frame.flag(), True
        frame.builder.store(constant(1), plan.failed)
        frame.fail(failure, onward, by_system=plan.by_system, once=once)

    @contextmanager
    def _part(self, onward: ir.BasicBlock) -> Iterator[None]:
        """What is inside goes on at once with other parts, which begin at a block."""
        self._plan.onward = onward
        yield
        self._plan.onward = None

    def _unless_failed(self) -> None:
        """End the step if some part of it has failed."""
        plan, builder = self._plan, self._frame.builder
        if plan.failed is None or not plan.unchecked:
            return
        plan.unchecked = False
        failed = builder.icmp_signed("!=", builder.load(plan.failed), constant(0))
        with self._frame.only_if(failed):
            if plan.cut_flag is not None:
                # It is a step of its own only if the cut has struck by then.
                struck = builder.icmp_signed("!=", builder.load(plan.cut_flag), constant(0))
                with self._frame.only_if(builder.not_(struck)):
                    self._frame.take_back()
            builder.branch(self._frame.step_end)

    def _begin(self, label: int, payload: ir.Value, late: ir.Value) -> None:
        self._plan = StepPlan(label, self._by_system[label], payload, late)

    def _own_steps(self, number: int, chip: ChipIR) -> None:
        leaves: dict[int, list[int]] = {}
        reactions: dict[int, Reaction] = {}
        for leaf, steps in enumerate(chip.steps):
            for reaction in steps:
                leaves.setdefault(reaction.rule, []).append(leaf)
                reactions[reaction.rule] = reaction
        for rule, reaction in reactions.items():
            self._own_step(number, chip, reaction, leaves[rule])

    def _own_step(self, number: int, chip: ChipIR, reaction: Reaction, leaves: list[int]) -> None:
        def enabled() -> None:
            inside = self._is_one_of(chip.state_field, leaves, len(chip.leaves))
            self._frame.unless(inside, self._frame.step_end)
            self._note_full(number, reaction)
            self._need_guard(number, reaction)

        self._whole_step(number, reaction, enabled)

    def _need_guard(self, number: int, reaction: Reaction) -> None:
        if reaction.guard is not None:
            condition = self._code.truth(reaction.guard, self._reading(number))
            self._frame.unless(condition, self._frame.step_end)

    def _is_one_of(self, state_field: int, leaves: Sequence[int], count: int) -> ir.Value:
        if len(leaves) == count:
            return TRUE
        result = FALSE
        state = self._frame.read(state_field)
        for leaf in leaves:
            is_it = self._frame.builder.icmp_signed("==", state, constant(leaf))
            result = is_it if result is FALSE else self._frame.builder.or_(result, is_it)
        return result

    def _whole_step(
        self,
        chip: int,
        reaction: Reaction,
        enabled: Callable[[], None],
        payload: ir.Value | None = None,
        late: ir.Value | None = None,
    ) -> None:
        """A step that begins with a reaction, then its variants that are cut in the middle."""
        payload, late = payload or constant(0), late or constant(0)
        with self._frame.step(reaction.label):
            self._begin(reaction.label, payload, late)
            enabled()
            self._completed(chip, reaction)
            separate = list(self._plan.separate)
        for fault, rule, done in self._possible_cuts(separate):
            label = fault.cut_labels[rule, done]
            with self._frame.step(label):
                self._begin(label, payload, late)
                self._plan.cut = (fault, rule, done)
                self._need_budget(fault)
                self._plan.cut_flag = self._frame.flag()
                enabled()
                self._completed(chip, reaction)

    def _possible_cuts(
        self, separate: list[tuple[int, Reaction]]
    ) -> list[tuple[FaultIR, int, int]]:
        found = {
            (self._cuts.index(fault), reaction.rule, done): fault
            for chip, reaction in separate
            for fault in self._cuts
            if fault.target == chip
            for done in reaction.cuts
        }
        return [(fault, rule, done) for (_, rule, done), fault in found.items()]

    def _completed(self, chip: int, reaction: Reaction) -> None:
        """The reaction, what it sets off, and the end of the step."""
        self._react(chip, reaction, None, None)
        # A signal has no message: what hears one sees neither its value nor its session.
        self._plan.payload = self._plan.late = constant(0)
        while self._plan.signalled:
            self._hear(self._plan.signalled.pop(0))
        if self._plan.cut is not None:
            self._end_of_cut(self._plan.cut[0])
        self._finish_step()

    def _end_of_cut(self, fault: FaultIR) -> None:
        builder, flag = self._frame.builder, self._plan.cut_flag
        assert flag is not None
        struck = builder.icmp_signed("!=", builder.load(flag), constant(0))
        self._frame.unless(struck, self._frame.step_end)
        self._strike(fault)

    def _finish_step(self) -> None:
        self._queues.finish(self._plan.sends, self._reading_all(), self._fail_beside_others)
        self._unless_failed()
        self._observers.go_on()
        self._frame.emit(by_system=self._plan.by_system, once=self._plan.cut is not None)

    def _reading_all(self) -> Reading:
        return self._reading(-2)

    def _react(
        self,
        chip: int,
        reaction: Reaction,
        snapshot: dict[int, ir.Value] | None,
        places: EffectFlags | None,
    ) -> None:
        """A chip takes a rule. `places` holds the flags of what it signals and sends, where it only
        may be taken; without it the rule is taken for certain.
        """
        frame, builder, plan = self._frame, self._frame.builder, self._plan
        form = self._product.chips[chip]
        moved = builder.or_(builder.load(frame.moved), constant(1 << chip))
        builder.store(moved, frame.moved)
        if reaction.cuts:
            plan.separate.append((chip, reaction))
        cut = plan.cut
        if cut is not None and cut[0].target == chip and cut[1] == reaction.rule:
            self._assign(chip, reaction, snapshot, cut[2])
            assert plan.cut_flag is not None
            builder.store(constant(1), plan.cut_flag)
            return
        frame.note_seen(constant(frame.seen.number("taken", reaction.rule)))
        frame.note_events(self._bits.taken.get(reaction.rule, 0))
        self._assign(chip, reaction, snapshot, len(reaction.assigns))
        self._collect_sends(chip, reaction, snapshot, places)
        if reaction.enters >= 0:
            frame.write(form.state_field, constant(reaction.enters))
        self._collect_signals(chip, reaction, places)

    def _collect_sends(
        self,
        chip: int,
        reaction: Reaction,
        snapshot: dict[int, ir.Value] | None,
        places: EffectFlags | None,
    ) -> None:
        for number, send in enumerate(reaction.sends):
            value = self._value_sent(chip, send, snapshot)
            self._frame.note_events(self._bits.sent.get((send.queue, send.message), 0))
            if places is None:
                self._plan.sends.append(PendingSend(send, None, value))
                continue
            places.sent[chip, reaction.rule, number].note(self._frame.builder, value)

    def _collect_signals(self, chip: int, reaction: Reaction, places: EffectFlags | None) -> None:
        for number, signal in enumerate(reaction.signals):
            if places is None:
                self._plan.signalled.append(Pending(signal, chip, None))
            else:
                places.signalled[chip, reaction.rule, number].note(self._frame.builder)

    def _value_sent(
        self, chip: int, send: SendIR, snapshot: dict[int, ir.Value] | None
    ) -> ir.Value | None:
        if send.value is None:
            return None
        value = self._code.value(send.value, self._reading(chip, snapshot))
        message = self._product.queues[send.queue].messages[send.message - 1]
        self._need_range(value, message.low, message.high, send.value_failure)
        return value

    def _need_range(self, value: ir.Value, low: int, high: int, failure: Failure) -> None:
        builder = self._frame.builder
        offset = builder.sub(value, constant(low))
        within = builder.icmp_unsigned("<=", offset, constant(high - low))
        onward, outside = self._frame.block("within"), self._frame.block("outside")
        builder.cbranch(within, onward, outside)
        builder.position_at_end(outside)
        self._fail(failure)
        builder.position_at_end(onward)

    def _assign(
        self, chip: int, reaction: Reaction, snapshot: dict[int, ir.Value] | None, count: int
    ) -> None:
        for assign in reaction.assigns[:count]:
            reading = self._reading(chip, snapshot)
            values = [self._code.value(value, reading) for value in assign.values]
            indices = [
                None if target.index is None else self._code.value(target.index, reading)
                for target in assign.targets
            ]
            for target, index in zip(assign.targets, indices, strict=True):
                if index is not None:
                    fail = partial(self._fail, target.failure)
                    self._code.need_index(index, target.length, fail)
            for target, index, value in zip(assign.targets, indices, values, strict=True):
                self._need_range(value, target.low, target.high, target.failure)
                if index is None:
                    self._frame.write(target.first, value)
                else:
                    self._write_item(target.first, target.length, index, value)

    def _write_item(self, first: int, length: int, index: ir.Value, value: ir.Value) -> None:
        builder = self._frame.builder
        for number in range(length):
            chosen = builder.icmp_signed("==", index, constant(number))
            kept = self._frame.read(first + number)
            self._frame.write(first + number, builder.select(chosen, value, kept))

    def _hear(self, pending: Pending) -> None:
        """Every other chip with an enabled rule for the signal moves, judged on one snapshot."""
        self._hearings += 1
        if self._hearings > MOST_HEARINGS:
            raise NotCompilableError("its signals set off too many others")
        hearers = [
            (number, chip)
            for number, chip in enumerate(self._product.chips)
            if number != pending.signaller
            and any(pending.signal in heard for heard in chip.hearings)
        ]
        if not hearers and not self._bits.signalled.get(pending.signal, 0):
            return
        places = self._places(pending.signal, hearers)
        if pending.flag is None:
            self._heard(pending, hearers, places)
            return
        builder = self._frame.builder
        signalled = builder.icmp_signed("!=", builder.load(pending.flag), constant(0))
        with self._frame.only_if(signalled):
            self._heard(pending, hearers, places)

    def _places(self, signal: int, hearers: list[tuple[int, ChipIR]]) -> EffectFlags:
        """Flags for whatever the hearers may signal and send, in the order of the chips."""
        places = EffectFlags()
        for number, chip in hearers:
            for reaction in _reactions_to(chip, signal).values():
                for position, send in enumerate(reaction.sends):
                    value = None if send.value is None else self._frame.flag()
                    waiting = PendingSend(send, self._frame.flag(), value)
                    places.sent[number, reaction.rule, position] = waiting
                    self._plan.sends.append(waiting)
                for position, signalled in enumerate(reaction.signals):
                    pending = Pending(signalled, number, self._frame.flag())
                    places.signalled[number, reaction.rule, position] = pending
                    self._plan.signalled.append(pending)
        return places

    def _heard(
        self,
        pending: Pending,
        hearers: list[tuple[int, ChipIR]],
        places: EffectFlags,
    ) -> None:
        frame, builder = self._frame, self._frame.builder
        frame.note_events(self._bits.signalled.get(pending.signal, 0))
        chosen = [self._choose_hearing(number, chip, pending.signal) for number, chip in hearers]
        snapshot = self._snapshot(hearers)
        for (number, chip), choice in zip(hearers, chosen, strict=True):
            for rule, reaction in _reactions_to(chip, pending.signal).items():
                is_it = builder.icmp_signed("==", choice, constant(rule))
                with frame.only_if(is_it) as after, self._part(after):
                    self._react(number, reaction, snapshot, places)
        self._unless_failed()

    def _snapshot(self, hearers: list[tuple[int, ChipIR]]) -> dict[int, ir.Value]:
        """The values of all fields that differ from the start of the step, or that movers own."""
        movers = {number for number, _ in hearers}
        owned = {n for n, field in enumerate(self._product.fields) if field.owner in movers}
        return {number: self._frame.read(number) for number in owned | self._frame.touched}

    def _choose_hearing(self, number: int, chip: ChipIR, signal: int) -> ir.Value:
        """The rule that a chip takes for a signal, or `UNHEARD`; noted as an encounter. The step
        fails where a full link keeps the chip from taking one.
        """
        chains = [heard.get(signal, ()) for heard in chip.hearings]
        choice, builder = self._frame.variable(), self._frame.builder
        builder.store(constant(UNDECIDED), choice)
        with self._frame.only_if(self._listens(number)) as after, self._part(after):
            builder.store(constant(UNHEARD), choice)
            self._choose(number, chip, chains, choice)
            keys = [
                [
                    ("met", number, leaf, -1, signal, outcome)
                    for outcome in _outcomes(chain, UNHEARD)
                ]
                for leaf, chain in enumerate(chains)
            ]
            self._note_encounter(chip, keys, choice)
            self._fail_if_blocked(number, chip, chains, choice)
        return builder.load(choice)

    def _fail_if_blocked(
        self,
        number: int,
        chip: ChipIR,
        chains: Sequence[tuple[Reaction, ...]],
        choice: ir.Value,
    ) -> None:
        """A signal cannot wait until a link has room."""
        builder = self._frame.builder
        for leaves in _groups(chains):
            chain = [reaction for reaction in chains[leaves[0]] if reaction.rooms]
            if not chain:
                continue
            blocked = builder.icmp_signed("==", builder.load(choice), constant(BLOCKED))
            inside = self._is_one_of(chip.state_field, leaves, len(chip.leaves))
            with self._frame.only_if(builder.and_(blocked, inside)):
                for reaction in chain:
                    with self._frame.only_if(self._wanted(number, reaction)):
                        self._fail_of_room(number, reaction)

    def _wanted(self, number: int, reaction: Reaction) -> ir.Value:
        """Whether a reaction would be enabled if its links had room."""
        if reaction.own_guard is None:
            return TRUE
        return self._code.truth(reaction.own_guard, self._reading(number))

    def _fail_of_room(self, number: int, reaction: Reaction) -> None:
        for room in reaction.rooms:
            free = self._code.truth(room.free, self._reading(number))
            with self._frame.only_if(self._frame.builder.not_(free)):
                self._fail(room.full)

    def _listens(self, number: int) -> ir.Value:
        """Whether a chip still hears signals in this step: not after it has been cut."""
        cut, flag = self._plan.cut, self._plan.cut_flag
        if cut is None or cut[0].target != number or flag is None:
            return TRUE
        builder = self._frame.builder
        return builder.icmp_signed("==", builder.load(flag), constant(0))

    def _choose(
        self,
        number: int,
        chip: ChipIR,
        chains: Sequence[tuple[Reaction, ...]],
        choice: ir.Value,
    ) -> None:
        """Store the rule of the first enabled reaction, by the chip's leaf, into `choice`; or that
        one is blocked.
        """
        for leaves in _groups(chains):
            inside = self._is_one_of(chip.state_field, leaves, len(chip.leaves))
            with self._frame.only_if(inside):
                self._first_enabled(number, chains[leaves[0]], choice)

    def _first_enabled(self, number: int, chain: tuple[Reaction, ...], choice: ir.Value) -> None:
        builder, after = self._frame.builder, self._frame.block("chosen")
        for position, reaction in enumerate(chain):
            following = self._frame.block("next")
            if reaction.guard is not None:
                condition = self._code.truth(reaction.guard, self._reading(number))
                taken = self._frame.block("taken")
                builder.cbranch(condition, taken, following)
                builder.position_at_end(taken)
            builder.store(constant(reaction.rule), choice)
            self._note_shadowed(number, reaction, chain[position + 1 :])
            builder.branch(after)
            builder.position_at_end(following)
            self._note_full(number, reaction)
        for reaction in chain:
            if reaction.rooms:
                with self._frame.only_if(self._wanted(number, reaction)):
                    builder.store(constant(BLOCKED), choice)
                    builder.branch(after)
        builder.branch(after)
        builder.position_at_end(after)

    def _note_shadowed(self, number: int, winner: Reaction, later: tuple[Reaction, ...]) -> None:
        for reaction in later:
            if reaction.rule not in self._curious:
                continue
            with self._frame.only_if(self._enabled(number, reaction)):
                self._note_shadow(reaction.rule, winner.rule)
            self._note_full(number, reaction)

    def _note_full(self, number: int, reaction: Reaction) -> None:
        """Note that a curious rule is not enabled, and would be if its links had room."""
        if reaction.rule not in self._curious or not reaction.rooms:
            return
        misses = self._frame.builder.not_(self._enabled(number, reaction))
        wanted = self._wanted(number, reaction)
        with self._frame.only_if(self._frame.builder.and_(misses, wanted)):
            self._note_shadow(reaction.rule, BLOCKED)

    def _note_shadow(self, rule: int, by: int) -> None:
        self._frame.note_seen(constant(self._frame.seen.number("shadowed", rule, by)))

    def _enabled(self, number: int, reaction: Reaction) -> ir.Value:
        if reaction.guard is None:
            return TRUE
        return self._code.truth(reaction.guard, self._reading(number))

    def _note_encounter(
        self, chip: ChipIR, keys: Sequence[Sequence[tuple[str | int, ...]]], choice: ir.Value
    ) -> None:
        """Note which outcome an event had in which leaf: one byte for each pair."""
        frame, builder = self._frame, self._frame.builder
        outcomes = list(dict.fromkeys(key[-1] for leaf in keys for key in leaf))
        rows = [[(*leaf[0][:-1], outcome) for outcome in outcomes] for leaf in keys]
        numbers = [[frame.seen.number(*key) for key in row] for row in rows]
        position = constant(0)
        for number, outcome in enumerate(outcomes):
            is_it = builder.icmp_signed("==", builder.load(choice), constant(int(str(outcome))))
            position = builder.select(is_it, constant(number), position)
        first = constant(numbers[0][0])
        for leaf, row in enumerate(numbers):
            is_it = builder.icmp_signed("==", frame.read(chip.state_field), constant(leaf))
            first = builder.select(is_it, constant(row[0]), first)
        frame.note_seen(builder.add(first, position))

    def _delivery(self, number: int) -> None:
        """What reaches the receiver from one queue: a step for each message and rule."""
        queue = self._product.queues[number]
        for code in range(1, len(queue.messages) + 1):
            self._delivery_of(number, code)

    def _delivery_of(self, number: int, code: int) -> None:
        queue = self._product.queues[number]
        chip = self._product.chips[queue.receiver]
        receptions = [chip.receptions[leaf][number, code] for leaf in range(len(chip.leaves))]
        rules: dict[int, Reaction] = {}
        for reception in receptions:
            rules.update({reaction.rule: reaction for reaction in reception.reactions})
        head = queue.slots[0]
        original = self._frame.original
        payload = original[head.value] if head.value >= 0 else constant(0)
        late = original[head.late] if head.late >= 0 else constant(0)
        choice = self._chosen_reception(number, code, receptions, payload, late)
        for reaction in rules.values():
            self._whole_step(
                queue.receiver,
                reaction,
                partial(self._taken_off, number, code, choice, reaction.rule),
                payload,
                late,
            )
        self._without_rule(number, code, receptions, choice)

    def _chosen_reception(
        self,
        number: int,
        code: int,
        receptions: list[Reception],
        payload: ir.Value,
        late: ir.Value,
    ) -> ir.Value:
        """Decide, in a piece of code of its own that makes no step, what becomes of the head."""
        queue = self._product.queues[number]
        chip = self._product.chips[queue.receiver]
        builder = self._frame.builder
        decided, choice = self._frame.variable(), self._frame.variable()
        label = receptions[0].discard_label
        builder.store(constant(UNDECIDED), decided)
        with self._frame.step(label):
            self._begin(label, payload, late)
            self._need_head(number, code)
            self._queues.pop(number)
            for leaf, reception in enumerate(receptions):
                is_it = self._is_one_of(chip.state_field, [leaf], len(chip.leaves))
                with self._frame.only_if(is_it):
                    builder.store(constant(_outcome(reception)), choice)
            chains = [reception.reactions for reception in receptions]
            self._choose(queue.receiver, chip, chains, choice)
            keys = [
                [
                    ("met", queue.receiver, leaf, number, code, outcome)
                    for outcome in _outcomes(reception.reactions, _outcome(reception))
                ]
                for leaf, reception in enumerate(receptions)
            ]
            self._note_encounter(chip, keys, choice)
            # Only now, when no guard has failed, is it decided.
            builder.store(builder.load(choice), decided)
        return decided

    def _need_head(self, number: int, code: int) -> None:
        queue, builder = self._product.queues[number], self._frame.builder
        head = self._frame.read(queue.slots[0].code)
        is_it = builder.icmp_signed("==", head, constant(code))
        self._frame.unless(is_it, self._frame.step_end)
        if queue.earliest:
            age = self._frame.read(queue.slots[0].age)
            ripe = builder.icmp_signed(">=", age, constant(queue.earliest))
            self._frame.unless(ripe, self._frame.step_end)
        up = self._queues.is_up(number, self._reading_all())
        self._frame.unless(up, self._frame.step_end)

    def _taken_off(self, number: int, code: int, choice: ir.Value, outcome: int) -> None:
        """Go on only if this is what becomes of the head; then take it off."""
        frame, builder = self._frame, self._frame.builder
        is_it = builder.icmp_signed("==", builder.load(choice), constant(outcome))
        frame.unless(is_it, frame.step_end)
        frame.note_events(self._bits.delivered.get((number, code), 0))
        self._note_late(number, code)
        self._queues.pop(number)

    def _note_late(self, number: int, code: int) -> None:
        bits, head = self._bits.late.get((number, code), 0), self._product.queues[number].slots[0]
        if bits and head.late >= 0:
            builder = self._frame.builder
            late = builder.icmp_signed("!=", self._frame.read(head.late), constant(0))
            with self._frame.only_if(late):
                self._frame.note_events(bits)

    def _without_rule(
        self, number: int, code: int, receptions: list[Reception], choice: ir.Value
    ) -> None:
        label = receptions[0].discard_label
        if any(reception.otherwise is Otherwise.DISCARD for reception in receptions):
            with self._frame.step(label):
                self._begin(label, constant(0), constant(0))
                self._taken_off(number, code, choice, DISCARDED)
                self._finish_step()
        chip = self._product.chips[self._product.queues[number].receiver]
        with self._frame.step(label):
            self._begin(label, constant(0), constant(0))
            self._taken_off(number, code, choice, UNSPECIFIED)
            for leaf, reception in enumerate(receptions):
                if reception.otherwise is Otherwise.UNSPECIFIED:
                    with self._frame.only_if(
                        self._is_one_of(chip.state_field, [leaf], len(chip.leaves))
                    ):
                        self._fail(reception.unspecified)

    def _fault(self, fault: FaultIR) -> None:
        with self._frame.step(fault.label):
            self._begin(fault.label, constant(0), constant(0))
            self._need_budget(fault)
            if fault.of_chip:
                self._strike(fault)
            else:
                self._tamper(fault)
            self._finish_step()

    def _need_budget(self, fault: FaultIR) -> None:
        if fault.budget >= 0:
            builder = self._frame.builder
            left = self._frame.original[fault.budget]
            some = builder.icmp_signed(">", left, constant(0))
            self._frame.unless(some, self._frame.step_end)

    def _pay(self, fault: FaultIR) -> None:
        if fault.budget >= 0:
            left = self._frame.read(fault.budget)
            self._frame.write(fault.budget, self._frame.builder.sub(left, constant(1)))

    def _tamper(self, fault: FaultIR) -> None:
        """Lose or double the head of a queue."""
        queue, builder = self._product.queues[fault.target], self._frame.builder
        head = self._frame.read(queue.slots[0].code)
        some = builder.icmp_signed("!=", head, constant(0))
        self._frame.unless(some, self._frame.step_end)
        self._frame.unless(
            self._queues.is_up(fault.target, self._reading_all()), self._frame.step_end
        )
        if fault.kind == "lose":
            self._queues.drop_head(fault.target)
        else:
            last = self._frame.read(queue.slots[-1].code)
            free = builder.icmp_signed("==", last, constant(0))
            self._frame.unless(free, self._frame.step_end)
            self._queues.double(fault.target)
        self._pay(fault)

    def _strike(self, fault: FaultIR) -> None:
        """The chip falls back to its initial state; persistent variables keep their value."""
        chip = self._product.chips[fault.target]
        self._frame.write(chip.state_field, constant(chip.initial))
        for where, value in chip.restart:
            self._frame.write(where, constant(value))
        for queue in chip.inputs:
            self._queues.empty(queue)
        for queue in chip.outputs:
            self._queues.make_late(queue)
        self._pay(fault)


def _reactions_to(chip: ChipIR, signal: int) -> dict[int, Reaction]:
    """All reactions of a chip to a signal, by rule."""
    return {
        reaction.rule: reaction for heard in chip.hearings for reaction in heard.get(signal, ())
    }


def _groups(chains: Sequence[tuple[Reaction, ...]]) -> list[list[int]]:
    """Leaves with the same reactions, of which there are some."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for leaf, chain in enumerate(chains):
        if chain:
            groups.setdefault(tuple(reaction.rule for reaction in chain), []).append(leaf)
    return list(groups.values())


def _outcomes(chain: tuple[Reaction, ...], otherwise: int) -> list[int]:
    blocked = [BLOCKED] if any(reaction.rooms for reaction in chain) else []
    return [*(reaction.rule for reaction in chain), otherwise, *blocked]


def _outcome(reception: Reception) -> int:
    return {
        Otherwise.DISCARD: DISCARDED,
        Otherwise.DEFER: DEFERRED,
        Otherwise.UNSPECIFIED: UNSPECIFIED,
    }[reception.otherwise]
