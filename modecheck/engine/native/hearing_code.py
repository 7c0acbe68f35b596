"""Who hears a signal, and what that sets off: all hearers are judged on one snapshot."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import TRUE, NotCompilableError, constant
from modecheck.engine.native.reaction_code import (
    BLOCKED,
    UNDECIDED,
    ReactionCode,
    groups,
    outcomes_of,
)
from modecheck.engine.native.step_parts import EffectFlags, Pending, PendingSend
from modecheck.product.ir import (
    ChipIR,
    Reaction,
)

UNHEARD = -4
"""What becomes of a signal that a chip hears and has no enabled rule for."""
MOST_HEARINGS = 4_000
"""Signals heard in the code of one product, cascades written out; more would take too long."""


class HearingCode(ReactionCode):
    """Writes what chips do when they hear a signal."""

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
                for position, given in enumerate(reaction.signalled):
                    value = None if given.value is None else self._frame.flag()
                    pending = Pending(given.signal, number, self._frame.flag(), value)
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
        self._plan.payload, self._plan.late = self._value_heard(pending), constant(0)
        chosen = [self._choose_hearing(number, chip, pending.signal) for number, chip in hearers]
        snapshot = self._snapshot(hearers)
        for (number, chip), choice in zip(hearers, chosen, strict=True):
            for rule, reaction in _reactions_to(chip, pending.signal).items():
                is_it = builder.icmp_signed("==", choice, constant(rule))
                with frame.only_if(is_it) as after, self._part(after):
                    self._react(number, reaction, snapshot, places)
        self._unless_failed()

    def _value_heard(self, pending: Pending) -> ir.Value:
        """The value of a signal; 0 where it carries none."""
        if pending.value is None:
            return constant(0)
        return pending.value if pending.flag is None else self._frame.builder.load(pending.value)

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
                    for outcome in outcomes_of(chain, UNHEARD)
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
        for leaves in groups(chains):
            chain = [reaction for reaction in chains[leaves[0]] if reaction.rooms]
            if not chain:
                continue
            blocked = builder.icmp_signed("==", builder.load(choice), constant(BLOCKED))
            inside = self._is_one_of(chip.state_field, leaves, len(chip.leaves))
            with self._frame.only_if(builder.and_(blocked, inside)):
                for reaction in chain:
                    with self._frame.only_if(self._wanted(number, reaction)):
                        self._fail_of_room(number, reaction)

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


def _reactions_to(chip: ChipIR, signal: int) -> dict[int, Reaction]:
    """All reactions of a chip to a signal, by rule."""
    return {
        reaction.rule: reaction for heard in chip.hearings for reaction in heard.get(signal, ())
    }
