"""The steps of a product as machine code: the same parts, in the same order, as in the reference.

Written after `modecheck.engine.reference.plain`, and sharing no code with it: tests compare both.
What the interpreter decides while it runs is decided here by branches. Where it keeps lists
(signals still to be heard, messages still to be queued) this code knows every entry that there
could be, in order, and gives each a flag that says whether it is there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import constant
from modecheck.engine.native.hearing_code import HearingCode
from modecheck.engine.native.queues import condition_or_false
from modecheck.engine.native.reaction_code import UNDECIDED, outcomes_of
from modecheck.product.ir import (
    ChipIR,
    FaultIR,
    Otherwise,
    Reaction,
    Reception,
    Ticking,
    TimeIR,
)

DISCARDED, DEFERRED, UNSPECIFIED = -1, -2, -3
"""What becomes of a message that no enabled rule takes."""
NO_STOP = 1 << 40
"""More ticks than any count has to go."""


class StepCode(HearingCode):
    """Writes the code of every step of a product into a frame."""

    def write(self) -> None:
        """Chips' own steps, deliveries, faults, a tick, observers; then the end of the function."""
        # Here, before all steps: what observers do is shared, and leads from any step to any other.
        self._turns = [self._turn(chip) for chip in self._product.chips]
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

    def _turn(self, chip: ChipIR) -> ir.Value | None:
        """Whether a chip may step; None for one that always may."""
        if chip.turn is None:
            return None
        return condition_or_false(self._frame, self._code, chip.turn, self._reading_before())

    def _need_turn(self, chip: int) -> None:
        turn = self._turns[chip]
        if turn is not None:
            self._frame.unless(turn, self._frame.step_end)

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

    def _idling(self) -> None:
        """Where nothing has to happen any more, a step in which nothing happens, and never will."""
        with self._frame.step(self._product.idle_label):
            self._begin(self._product.idle_label, constant(0), constant(0))
            self._frame.unless_obliged()
            self._frame.write(self._product.idle_field, constant(1))
            self._finish_step()

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
            self._need_turn(number)
            self._note_full(number, reaction)
            self._need_guard(number, reaction)

        self._whole_step(number, reaction, enabled)

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
        while self._plan.signalled:
            self._hear(self._plan.signalled.pop(0))
        self._plan.payload = self._plan.late = constant(0)
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
        once = self._plan.cut is not None or self._one_of_several
        self._frame.emit(by_system=self._plan.by_system, once=once)

    def _delivery(self, number: int) -> None:
        """What reaches the receiver from one queue: a step for each message and rule, from each
        place where it may stand.
        """
        queue = self._product.queues[number]
        self._begin_group(len(queue.heads))
        for place in range(len(queue.heads)):
            for code in range(1, len(queue.messages) + 1):
                self._delivery_of(number, code, place)
        self._one_of_several = False

    def _begin_group(self, places: int) -> None:
        """What follows comes from so many places of one queue."""
        self._one_of_several = places > 1
        if self._one_of_several:
            self._frame.begin_group()

    def _delivery_of(self, number: int, code: int, place: int) -> None:
        queue = self._product.queues[number]
        chip = self._product.chips[queue.receiver]
        receptions = [chip.receptions[leaf][number, code] for leaf in range(len(chip.leaves))]
        rules: dict[int, Reaction] = {}
        for reception in receptions:
            rules.update({reaction.rule: reaction for reaction in reception.reactions})
        head = queue.slots[place]
        original = self._frame.original
        payload = original[head.value] if head.value >= 0 else constant(0)
        late = original[head.late] if head.late >= 0 else constant(0)
        choice = self._chosen_reception((number, place), code, receptions, payload, late)
        for reaction in rules.values():
            self._whole_step(
                queue.receiver,
                reaction,
                partial(self._taken_off, (number, place), code, choice, reaction.rule),
                payload,
                late,
            )
        self._without_rule((number, place), code, receptions, choice)

    def _chosen_reception(
        self,
        where: tuple[int, int],
        code: int,
        receptions: list[Reception],
        payload: ir.Value,
        late: ir.Value,
    ) -> ir.Value:
        """Decide, in a piece of code of its own that makes no step, what becomes of the head."""
        number, place = where
        queue = self._product.queues[number]
        chip = self._product.chips[queue.receiver]
        builder = self._frame.builder
        decided, choice = self._frame.variable(), self._frame.variable()
        label = receptions[0].discard_label
        builder.store(constant(UNDECIDED), decided)
        with self._frame.step(label):
            self._begin(label, payload, late)
            self._need_message(where, code)
            self._queues.pop(number, place)
            self._end_rows(number, code)
            for leaf, reception in enumerate(receptions):
                is_it = self._is_one_of(chip.state_field, [leaf], len(chip.leaves))
                with self._frame.only_if(is_it):
                    builder.store(constant(_outcome(reception)), choice)
            chains = [reception.reactions for reception in receptions]
            self._choose(queue.receiver, chip, chains, choice)
            keys = [
                [
                    ("met", queue.receiver, leaf, number, code, outcome)
                    for outcome in outcomes_of(reception.reactions, _outcome(reception))
                ]
                for leaf, reception in enumerate(receptions)
            ]
            self._note_encounter(chip, keys, choice)
            # Only now, when no guard has failed, is it decided.
            builder.store(builder.load(choice), decided)
        return decided

    def _end_rows(self, number: int, code: int) -> None:
        """A message is delivered: a row of faults ends, but that of corruptions only by a message
        that can be used.
        """
        unusable = code == self._product.queues[number].corrupted
        for fault in self._product.faults:
            if fault.row < 0 or fault.target != number:
                continue
            if fault.kind != "corrupt" or not unusable:
                self._frame.write(fault.row, constant(fault.in_a_row))

    def _need_message(self, where: tuple[int, int], code: int) -> None:
        """End the step unless this message has come to its receiver."""
        number, place = where
        queue, builder = self._product.queues[number], self._frame.builder
        self._need_turn(queue.receiver)
        if place:
            self._queues.need(number, place)
        head = self._frame.read(queue.slots[place].code)
        is_it = builder.icmp_signed("==", head, constant(code))
        self._frame.unless(is_it, self._frame.step_end)
        if queue.earliest:
            age = self._frame.read(queue.slots[place].age)
            ripe = builder.icmp_signed(">=", age, constant(queue.earliest))
            self._frame.unless(ripe, self._frame.step_end)
        up = self._queues.is_up(number, self._reading_all())
        self._frame.unless(up, self._frame.step_end)

    def _taken_off(self, where: tuple[int, int], code: int, choice: ir.Value, outcome: int) -> None:
        """Go on only if this is what becomes of the message; then take it off."""
        number, place = where
        frame, builder = self._frame, self._frame.builder
        is_it = builder.icmp_signed("==", builder.load(choice), constant(outcome))
        frame.unless(is_it, frame.step_end)
        frame.note_events(self._bits.delivered.get((number, code), 0))
        self._note_late(where, code)
        self._queues.pop(number, place)
        self._end_rows(number, code)

    def _note_late(self, where: tuple[int, int], code: int) -> None:
        number, place = where
        bits = self._bits.late.get((number, code), 0)
        head = self._product.queues[number].slots[place]
        if bits and head.late >= 0:
            builder = self._frame.builder
            late = builder.icmp_signed("!=", self._frame.read(head.late), constant(0))
            with self._frame.only_if(late):
                self._frame.note_events(bits)

    def _without_rule(
        self, where: tuple[int, int], code: int, receptions: list[Reception], choice: ir.Value
    ) -> None:
        label = receptions[0].discard_label
        if any(reception.otherwise is Otherwise.DISCARD for reception in receptions):
            with self._frame.step(label):
                self._begin(label, constant(0), constant(0))
                self._taken_off(where, code, choice, DISCARDED)
                self._finish_step()
        chip = self._product.chips[self._product.queues[where[0]].receiver]
        with self._frame.step(label):
            self._begin(label, constant(0), constant(0))
            self._taken_off(where, code, choice, UNSPECIFIED)
            for leaf, reception in enumerate(receptions):
                if reception.otherwise is Otherwise.UNSPECIFIED:
                    with self._frame.only_if(
                        self._is_one_of(chip.state_field, [leaf], len(chip.leaves))
                    ):
                        self._fail(reception.unspecified)

    def _fault(self, fault: FaultIR) -> None:
        """A step for its chip, or for each place of its queue where a message may stand."""
        heads = () if fault.of_chip else self._product.queues[fault.target].heads
        self._begin_group(len(heads))
        for place in range(max(len(heads), 1)):
            with self._frame.step(fault.label):
                self._begin(fault.label, constant(0), constant(0))
                self._need_budget(fault)
                if fault.of_chip:
                    self._strike(fault)
                else:
                    self._tamper(fault, place)
                self._finish_step()
        self._one_of_several = False

    def _need_budget(self, fault: FaultIR) -> None:
        for field in fault.counts:
            builder = self._frame.builder
            left = self._frame.original[field]
            some = builder.icmp_signed(">", left, constant(0))
            self._frame.unless(some, self._frame.step_end)

    def _pay(self, fault: FaultIR) -> None:
        for field in fault.counts:
            left = self._frame.read(field)
            self._frame.write(field, self._frame.builder.sub(left, constant(1)))

    def _tamper(self, fault: FaultIR, place: int) -> None:
        """Lose, double or corrupt the head of a queue, or what stands in another place."""
        queue, builder = self._product.queues[fault.target], self._frame.builder
        self._queues.need(fault.target, place)
        self._frame.unless(
            self._queues.is_up(fault.target, self._reading_all()), self._frame.step_end
        )
        if fault.kind == "lose":
            self._queues.drop(fault.target, place)
        elif fault.kind == "corrupt":
            self._queues.corrupt(fault.target, place)
        else:
            last = self._frame.read(queue.slots[-1].code)
            free = builder.icmp_signed("==", last, constant(0))
            self._frame.unless(free, self._frame.step_end)
            self._queues.double(fault.target, place)
        self._pay(fault)

    def _strike(self, fault: FaultIR) -> None:
        """The chip begins again, in the fault's way; persistent variables keep their value."""
        chip = self._product.chips[fault.target]
        for where, value in chip.restarts[fault.restart]:
            self._frame.write(where, constant(value))
        for queue in chip.inputs:
            self._queues.empty(queue)
        for queue in chip.outputs:
            self._queues.make_late(queue)
        self._pay(fault)


def _outcome(reception: Reception) -> int:
    return {
        Otherwise.DISCARD: DISCARDED,
        Otherwise.DEFER: DEFERRED,
        Otherwise.UNSPECIFIED: UNSPECIFIED,
    }[reception.otherwise]
