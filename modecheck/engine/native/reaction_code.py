"""Which rule a chip takes, and what taking it does."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import TRUE, constant
from modecheck.engine.native.step_parts import EffectFlags, Pending, PendingSend, StepParts
from modecheck.product.ir import (
    ChipIR,
    Reaction,
    SendIR,
    SignalIR,
)

BLOCKED, UNDECIDED = -5, -6
"""Instead of a rule: one would be enabled if its links had room; nothing is chosen yet."""


class ReactionCode(StepParts):
    """Writes the reactions of chips."""

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
        values = [self._value_signalled(chip, given, snapshot) for given in reaction.signalled]
        if reaction.enters >= 0:
            frame.write(form.state_field, constant(reaction.enters))
        self._collect_signals(chip, reaction, values, places)

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

    def _collect_signals(
        self,
        chip: int,
        reaction: Reaction,
        values: Sequence[ir.Value | None],
        places: EffectFlags | None,
    ) -> None:
        for number, (signal, value) in enumerate(zip(reaction.signals, values, strict=True)):
            if places is None:
                self._plan.signalled.append(Pending(signal, chip, None, value))
            else:
                places.signalled[chip, reaction.rule, number].note(self._frame.builder, value)

    def _value_signalled(
        self, chip: int, given: SignalIR, snapshot: dict[int, ir.Value] | None
    ) -> ir.Value | None:
        type_ = self._product.signal_types[given.signal]
        if given.value is None or type_ is None:
            return None
        value = self._code.value(given.value, self._reading(chip, snapshot))
        self._need_range(value, type_.low, type_.high, given.value_failure)
        return value

    def _value_sent(
        self, chip: int, send: SendIR, snapshot: dict[int, ir.Value] | None
    ) -> ir.Value | None:
        if send.value is None:
            return None
        value = self._code.value(send.value, self._reading(chip, snapshot))
        message = self._product.queues[send.queue].messages[send.message - 1]
        self._need_range(value, message.low, message.high, send.value_failure)
        return value

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
        for leaves in groups(chains):
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

    def _wanted(self, number: int, reaction: Reaction) -> ir.Value:
        """Whether a reaction would be enabled if its links had room."""
        if reaction.own_guard is None:
            return TRUE
        return self._code.truth(reaction.own_guard, self._reading(number))

    def _enabled(self, number: int, reaction: Reaction) -> ir.Value:
        if reaction.guard is None:
            return TRUE
        return self._code.truth(reaction.guard, self._reading(number))

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


def groups(chains: Sequence[tuple[Reaction, ...]]) -> list[list[int]]:
    """Leaves with the same reactions, of which there are some."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for leaf, chain in enumerate(chains):
        if chain:
            groups.setdefault(tuple(reaction.rule for reaction in chain), []).append(leaf)
    return list(groups.values())


def outcomes_of(chain: tuple[Reaction, ...], otherwise: int) -> list[int]:
    blocked = [BLOCKED] if any(reaction.rooms for reaction in chain) else []
    return [*(reaction.rule for reaction in chain), otherwise, *blocked]
