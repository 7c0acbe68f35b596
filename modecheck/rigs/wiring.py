"""The machines of a device, connected: what makes up a step, part by part.

It implements the order defined in `modecheck.engine.plain` independently; tests compare the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import chain

from modecheck.engine.evaluation import Evaluator, StepFailed
from modecheck.engine.happenings import Arrived, Doubled, Dropped, Passed, Struck
from modecheck.product.ir import Expression, FaultIR, Otherwise, Product, SendIR, TimeIR
from modecheck.rigs.chip_machine import ChipMachine, RigTurn
from modecheck.rigs.rig_links import LinkQueue, MessageInFlight

NOBODY = -2
"""Number of the chip that evaluates conditions on whole states."""


class Wiring:
    """All machines and all links of a product, which share one state; it begins in the initial one.

    A step that fails leaves it half done: restore it with `put`.
    """

    def __init__(self, product: Product) -> None:
        self.product = product
        self._fields = list(product.initial)
        self._evaluator = Evaluator(product)
        self.chips = [
            ChipMachine(number, product, self._fields, self._evaluator)
            for number in range(len(product.chips))
        ]
        self.queues = [LinkQueue(number, queue) for number, queue in enumerate(product.queues)]

    @property
    def state(self) -> tuple[int, ...]:
        """The state of the product that the machines and links are in."""
        return tuple(self._fields)

    def put(self, state: Sequence[int]) -> None:
        """Set everything to a state of the product, without any effect."""
        self._fields[:] = state
        for chip in self.chips:
            chip.put(chip.form.leaves[state[chip.form.state_field]])
        for link in self.queues:
            link.load(self._fields)

    def deliver(self, link: LinkQueue, turn: RigTurn) -> bool:
        """The head of a link reaches its chip; False if it stays, because it is deferred or because
        the reaction has no room to send. Raises `StepFailed`.
        """
        chip, head = self.chips[link.queue.receiver], link.waiting[0]
        turn.value, turn.late = head.value, head.late
        reception = chip.form.receptions[self._fields[chip.form.state_field]]
        forms = reception[link.number, head.message]
        event = f"{link.name} {link.messages[0]}"
        link.waiting.pop(0)
        link.store(self._fields)
        turn.seen = self.state
        taken = chip.may(event, turn)
        if not taken and (forms.otherwise is Otherwise.DEFER or chip.full(forms.reactions, turn)):
            return False
        discarded = forms.otherwise is Otherwise.DISCARD
        outcome = "taken" if taken else "discarded" if discarded else "unspecified"
        turn.log.append(Arrived(link.number, head.message, head.value, head.late, outcome))
        if not taken and not discarded:
            raise StepFailed(forms.unspecified)
        return chip.tell(event, turn) if taken else True

    def finish(self, turn: RigTurn) -> None:
        """Signals are heard, a cut strikes, messages are queued, links that are down drop."""
        while turn.signalled:
            self._hear(*turn.signalled.pop(0), turn)
        if turn.cut is not None and turn.struck >= 0:
            self._restart(turn.cut[0], turn, *turn.cut[1:])
        turn.all_of(partial(self._put, send, value, turn) for send, value in turn.sends)
        for link in self.queues:
            if link.waiting and not self.is_up(link):
                if link.queue.holds:
                    link.end_session()
                else:
                    link.empty("down", turn.log)
                link.store(self._fields)

    def _put(self, send: SendIR, value: int, turn: RigTurn) -> None:
        link = self.queues[send.queue]
        if self.is_up(link):
            link.put(send, value, turn.log)
            link.store(self._fields)
        else:
            turn.log.append(Dropped(send.queue, send.message, "down"))

    def _hear(self, signal: int, signaller: int, turn: RigTurn) -> None:
        """Whoever has an enabled rule moves, all judged on one snapshot."""
        turn.seen, turn.value, turn.late, turn.heard = self.state, 0, False, signal
        event = f"signal {self.product.signals[signal]}"
        others = [chip for chip in self.chips if chip.number not in (signaller, turn.struck)]
        willing: list[ChipMachine] = []

        def judge(chip: ChipMachine) -> None:
            willing.extend([chip] if self._answers(chip, event, signal, turn) else [])

        judged = (partial(judge, chip) for chip in others)
        moving = (partial(chip.tell, event, turn) for chip in willing)  # known when all are judged
        turn.all_of(chain(judged, moving))

    def _answers(self, chip: ChipMachine, event: str, signal: int, turn: RigTurn) -> bool:
        """Whether a chip takes a rule for a signal; one that finds no room raises `StepFailed`."""
        if chip.may(event, turn):
            return True
        hearings = chip.form.hearings[self._fields[chip.form.state_field]]
        for failure in chip.full(hearings.get(signal, ()), turn):
            raise StepFailed(failure)
        return False

    def is_up(self, link: LinkQueue) -> bool:
        """Whether a link is up; an index out of range in its condition means no."""
        return link.queue.up is None or self._holds(link.queue.up)

    def tick(self, time: TimeIR, turn: RigTurn) -> bool:
        """Advance all counts by one; False if a rule must be taken first, or nothing changes."""
        before = self.state
        if any(self._holds(due.holds) for due in time.due):
            return False
        running = [ticking for ticking in time.tickings if self._holds(ticking.runs)]
        for ticking in running:
            count = self._fields[ticking.field]
            self._fields[ticking.field] = count + 1 if count < ticking.last else ticking.behind
        for link in self.queues:
            link.load(self._fields)
        turn.log.append(Passed(1))
        return self.state != before

    def _holds(self, condition: Expression) -> bool:
        """Whether a condition on the whole state holds; an index out of range means no."""
        function = self._evaluator.function(condition, NOBODY)
        try:
            return bool(function(self._fields, self._fields, 0, 0))
        except StepFailed:
            return False

    def affordable(self, fault: FaultIR) -> bool:
        """Whether something is left of the fault's budget."""
        return fault.budget < 0 or self._fields[fault.budget] > 0

    def possible(self, fault: FaultIR) -> bool:
        """Whether a fault can strike now."""
        if not self.affordable(fault) or fault.of_chip:
            return self.affordable(fault)
        link = self.queues[fault.target]
        room = fault.kind == "lose" or not link.full
        return bool(link.waiting) and self.is_up(link) and room

    def strike(self, fault: FaultIR, turn: RigTurn) -> None:
        """A fault that is possible strikes."""
        if fault.of_chip:
            self._restart(fault, turn, -1, 0)
            return
        link = self.queues[fault.target]
        head = link.waiting[0]
        if fault.kind == "lose":
            link.waiting.pop(0)
            turn.log.append(Dropped(link.number, head.message, "lost"))
        else:
            link.waiting.insert(1, MessageInFlight(head.message, head.value, head.late, head.age))
            turn.log.append(Doubled(link.number, head.message))
        link.store(self._fields)
        self._pay(fault)

    def _pay(self, fault: FaultIR) -> None:
        if fault.budget >= 0:
            self._fields[fault.budget] -= 1

    def _restart(self, fault: FaultIR, turn: RigTurn, rule: int, done: int) -> None:
        """The chip falls back to its initial state; persistent variables keep their value."""
        chip = self.chips[fault.target]
        turn.log.append(Struck(chip.number, fault.kind, rule, done))
        chip.put(chip.form.leaves[chip.form.initial])
        self._fields[chip.form.state_field] = chip.form.initial
        for where, value in chip.form.restart:
            self._fields[where] = value
        for queue in chip.form.inputs:
            self.queues[queue].empty("cut", turn.log)
            self.queues[queue].store(self._fields)
        for queue in chip.form.outputs:
            self.queues[queue].end_session()
            self.queues[queue].store(self._fields)
        self._pay(fault)
