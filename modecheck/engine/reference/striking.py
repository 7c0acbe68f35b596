"""What faults do in a step: messages are lost or doubled, chips fall back to their beginning."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.engine.contract.space import State
from modecheck.engine.reference.happenings import Struck
from modecheck.engine.reference.queueing import Queueing, different
from modecheck.engine.reference.step_draft import Cut, StepDraft
from modecheck.product.ir import FaultIR, Product


class Striking:
    """The faults of one product."""

    def __init__(self, product: Product, queueing: Queueing) -> None:
        self._product = product
        self._queueing = queueing

    def strokes(self, state: State, fault: FaultIR) -> Iterator[StepDraft]:
        """What a fault can do in a state: to its chip, or to each message that it can happen to."""
        if not _affordable(fault, state):
            return
        if fault.of_chip:
            draft = StepDraft(list(state))
            self.strike(draft, fault)
            yield draft
            return
        for place in self._places(fault, state):
            draft = StepDraft(list(state))
            self._tamper(draft, fault, place)
            _pay(draft, fault)
            yield draft

    def end_rows(self, draft: StepDraft, queue: int, code: int) -> None:
        """A message is delivered: a row of faults ends, but that of corruptions only by a message
        that can be used.
        """
        unusable = code == self._product.queues[queue].corrupted
        for fault in self._product.faults:
            if fault.row < 0 or fault.target != queue:
                continue
            if fault.kind != "corrupt" or not unusable:
                draft.now[fault.row] = fault.in_a_row

    def possible_cuts(self, draft: StepDraft) -> list[Cut]:
        """The faults that could have struck in the middle of the rules that a step took."""
        torn = {reaction.rule: (chip, reaction) for chip, reaction in draft.separate}
        return [
            Cut(fault, reaction.rule, done)
            for chip, reaction in torn.values()
            for fault in self._product.faults
            if fault.of_chip and fault.target == chip and _affordable(fault, draft.now)
            for done in reaction.cuts
        ]

    def strike(self, draft: StepDraft, fault: FaultIR, rule: int = -1, done: int = 0) -> None:
        """The chip begins again, in the fault's way; persistent variables keep their value."""
        chip = self._product.chips[fault.target]
        for where, value in chip.restarts[fault.restart]:
            draft.now[where] = value
        leaf = draft.now[chip.state_field]
        draft.log.append(Struck(fault.target, fault.kind, rule, done, leaf))
        for queue in chip.inputs:
            self._queueing.empty(draft, queue, "cut")
        for queue in chip.outputs:
            self._queueing.make_late(draft, queue)
        _pay(draft, fault)

    def _places(self, fault: FaultIR, state: State) -> list[int]:
        """Where a message stands that can be lost, or doubled if there is room for its copy, or
        corrupted if it has not been yet.
        """
        queue = self._product.queues[fault.target]
        places = different(queue, state)
        if not places or not self._queueing.is_up(fault.target, state):
            return []
        if fault.kind == "duplicate":
            return [] if state[queue.slots[-1].code] else places
        if fault.kind == "corrupt":
            return [p for p in places if state[queue.slots[p].code] != queue.corrupted]
        return places

    def _tamper(self, draft: StepDraft, fault: FaultIR, place: int) -> None:
        if fault.kind == "lose":
            self._queueing.drop(draft, fault.target, "lost", place)
        elif fault.kind == "duplicate":
            self._queueing.double(draft, fault.target, place)
        else:
            self._queueing.corrupt(draft, fault.target, place)


def _affordable(fault: FaultIR, state: Sequence[int]) -> bool:
    return all(state[left] > 0 for left in fault.counts)


def _pay(draft: StepDraft, fault: FaultIR) -> None:
    for left in fault.counts:
        draft.now[left] -= 1
