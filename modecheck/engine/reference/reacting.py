"""What chips do in a step: which rule answers an event, and what the rule does."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.engine.contract.encounters import BLOCKED, UNHEARD, Encounter, Observed
from modecheck.engine.reference.happenings import SignalEmitted, Took
from modecheck.engine.reference.step_draft import Hearing, Raised, StepDraft
from modecheck.product.evaluation import Evaluator, StepFailed
from modecheck.product.expression_ir import Expression
from modecheck.product.ir import (
    ChipIR,
    Product,
    Reaction,
    Room,
    SendIR,
    SignalIR,
    TargetIR,
)


class Reacting:
    """Judges and carries out the rules of one product. All of it raises `StepFailed`."""

    def __init__(self, product: Product, evaluator: Evaluator, observed: Observed) -> None:
        self.observed = observed
        self._product = product
        self._function = evaluator.function
        self._hearers = [self._hearers_of(signal) for signal in range(len(product.signals))]

    def _hearers_of(self, signal: int) -> list[tuple[int, ChipIR]]:
        """The chips that have a rule for a signal in some leaf."""
        chips = enumerate(self._product.chips)
        return [(n, chip) for n, chip in chips if any(signal in heard for heard in chip.hearings)]

    def _holds(self, draft: StepDraft, chip: int, condition: Expression | None) -> bool:
        if condition is None:
            return True
        function = self._function(condition, chip)
        return bool(function(draft.now, draft.now, draft.payload, draft.late))

    def first_enabled(
        self, draft: StepDraft, chip: int, reactions: tuple[Reaction, ...]
    ) -> Reaction | None:
        """The reaction that a chip takes: the first that is enabled."""
        for number, reaction in enumerate(reactions):
            if self._holds(draft, chip, reaction.guard):
                self._note_shadowed(draft, chip, reaction, reactions[number + 1 :])
                return reaction
            self._note_full(draft, chip, reaction)
        return None

    def full(
        self, draft: StepDraft, chip: int, reactions: tuple[Reaction, ...]
    ) -> list[tuple[Reaction, Room]]:
        """Reactions that would be enabled if their links had room, each with each link that is
        full.
        """
        return [
            (one, room)
            for one in reactions
            if one.rooms and self._holds(draft, chip, one.own_guard)
            for room in one.rooms
            if not self._holds(draft, chip, room.free)
        ]

    def _note_shadowed(
        self, draft: StepDraft, chip: int, winner: Reaction, later: tuple[Reaction, ...]
    ) -> None:
        for reaction in later if self.observed.curious else ():
            if reaction.rule not in self.observed.curious:
                continue
            if self._holds(draft, chip, reaction.guard):
                self.observed.note_shadow(reaction.rule, winner.rule)
            else:
                self._note_full(draft, chip, reaction)

    def _note_full(self, draft: StepDraft, chip: int, reaction: Reaction) -> None:
        """Note that a curious rule, which is not enabled, would be if its links had room."""
        if reaction.rule in self.observed.curious and self.full(draft, chip, (reaction,)):
            self.observed.note_shadow(reaction.rule, BLOCKED)

    def react(
        self, draft: StepDraft, chip: int, reaction: Reaction, seen: Sequence[int], heard: int = -1
    ) -> None:
        """A chip takes a rule, which reads other chips as they are in the fields `seen`."""
        form = self._product.chips[chip]
        before = draft.now[form.state_field]
        draft.moved |= 1 << chip
        if reaction.cuts:
            draft.separate.append((chip, reaction))
        # A power cut strikes between two writes: what the rule would have done after them is lost.
        cut = draft.cut
        if cut is not None and (cut.fault.target, cut.rule) == (chip, reaction.rule):
            self._assign(draft, chip, reaction, seen, cut.done)
            draft.struck = chip
            return
        self.observed.taken.add(reaction.rule)
        self._assign(draft, chip, reaction, seen, len(reaction.assigns))
        for send in reaction.sends:
            draft.sends.append((send, self._value_sent(draft, chip, send, seen)))
        # Values are those before the chip enters its next state, as in a send.
        signals = [self._raised(draft, chip, given, seen) for given in reaction.signalled]
        if reaction.enters >= 0:
            draft.now[form.state_field] = reaction.enters
        after, value = draft.now[form.state_field], draft.payload if heard >= 0 else 0
        draft.log.append(Took(chip, reaction.rule, before, after, heard, value))
        draft.signalled += signals
        draft.log += [SignalEmitted(chip, one.signal, one.value) for one in signals]

    def _assign(
        self, draft: StepDraft, chip: int, reaction: Reaction, seen: Sequence[int], count: int
    ) -> None:
        for assign in reaction.assigns[:count]:
            values = [self._value(draft, chip, value, seen) for value in assign.values]
            fields = [self._field(draft, chip, target, seen) for target in assign.targets]
            for target, where, value in zip(assign.targets, fields, values, strict=True):
                if not target.low <= value <= target.high:
                    raise StepFailed(target.failure)
                draft.now[where] = value

    def _value(
        self, draft: StepDraft, chip: int, expression: Expression, seen: Sequence[int]
    ) -> int:
        return int(self._function(expression, chip)(draft.now, seen, draft.payload, draft.late))

    def _field(self, draft: StepDraft, chip: int, target: TargetIR, seen: Sequence[int]) -> int:
        if target.index is None:
            return target.first
        index = self._value(draft, chip, target.index, seen)
        if not 0 <= index < target.length:
            raise StepFailed(target.failure)
        return target.first + index

    def _value_sent(self, draft: StepDraft, chip: int, send: SendIR, seen: Sequence[int]) -> int:
        if send.value is None:
            return 0
        value = self._value(draft, chip, send.value, seen)
        message = self._product.queues[send.queue].messages[send.message - 1]
        if not message.low <= value <= message.high:
            raise StepFailed(send.value_failure)
        return value

    def _raised(self, draft: StepDraft, chip: int, given: SignalIR, seen: Sequence[int]) -> Raised:
        """A signal with its value, within the range that is declared."""
        value, type_ = 0, self._product.signal_types[given.signal]
        if given.value is not None and type_ is not None:
            value = self._value(draft, chip, given.value, seen)
            if not type_.holds(value):
                raise StepFailed(given.value_failure)
        return Raised(given.signal, chip, value)

    def hear(self, draft: StepDraft, raised: Raised) -> None:
        """Every other chip with an enabled rule for the signal moves, judged on one snapshot. All
        see the value of this signal, whatever was signalled or delivered besides.
        """
        signal, signaller, value = raised
        snapshot = tuple(draft.now)
        draft.hearings.append(Hearing(signal, signaller, snapshot, value))
        draft.payload, draft.late = value, 0
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
                self.react(draft, number, reaction, snapshot, signal)

    def _chosen_hearing(
        self, draft: StepDraft, number: int, chip: ChipIR, signal: int
    ) -> Reaction | None:
        """What a chip does when it hears a signal, if anything."""
        leaf = draft.now[chip.state_field]
        reactions = chip.hearings[leaf].get(signal, ())
        chosen = self.first_enabled(draft, number, reactions)
        blocked = [] if chosen is not None else self.full(draft, number, reactions)
        outcome = BLOCKED if blocked else UNHEARD if chosen is None else chosen.rule
        self.observed.encounters.add(Encounter(number, leaf, -1, signal, outcome))
        for _, room in blocked:
            raise StepFailed(room.full)
        return chosen
