"""What faults do in a step: messages are lost or doubled, chips fall back to their beginning."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.engine.contract.space import State
from modecheck.engine.reference.happenings import Struck
from modecheck.engine.reference.queueing import Queueing
from modecheck.engine.reference.step_draft import Cut, StepDraft
from modecheck.product.ir import FaultIR, Product


class Striking:
    """The faults of one product."""

    def __init__(self, product: Product, queueing: Queueing) -> None:
        self._product = product
        self._queueing = queueing

    def strokes(self, state: State) -> Iterator[tuple[FaultIR, StepDraft]]:
        """Each fault that can strike in a state, and what it does."""
        for fault in self._product.faults:
            if not _affordable(fault, state):
                continue
            draft = StepDraft(list(state))
            if fault.of_chip:
                self.strike(draft, fault)
            elif self._can_tamper(fault, state):
                self._tamper(draft, fault)
            else:
                continue
            yield fault, draft

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
        """The chip falls back to its initial state; persistent variables keep their value."""
        chip = self._product.chips[fault.target]
        draft.log.append(Struck(fault.target, fault.kind, rule, done))
        draft.now[chip.state_field] = chip.initial
        for where, value in chip.restart:
            draft.now[where] = value
        for queue in chip.inputs:
            self._queueing.empty(draft, queue, "cut")
        for queue in chip.outputs:
            self._queueing.make_late(draft, queue)
        _pay(draft, fault)

    def _can_tamper(self, fault: FaultIR, state: State) -> bool:
        """Whether there is a message to lose, or to double and room for its copy."""
        slots = self._product.queues[fault.target].slots
        if not state[slots[0].code] or not self._queueing.is_up(fault.target, state):
            return False
        return fault.kind == "lose" or not state[slots[-1].code]

    def _tamper(self, draft: StepDraft, fault: FaultIR) -> None:
        if fault.kind == "lose":
            self._queueing.drop_head(draft, fault.target, "lost")
        else:
            self._queueing.double_head(draft, fault.target)
        _pay(draft, fault)


def _affordable(fault: FaultIR, state: Sequence[int]) -> bool:
    return fault.budget < 0 or state[fault.budget] > 0


def _pay(draft: StepDraft, fault: FaultIR) -> None:
    if fault.budget >= 0:
        draft.now[fault.budget] -= 1
