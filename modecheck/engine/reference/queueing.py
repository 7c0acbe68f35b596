"""What happens to the queues of links in a step: heads are taken, messages put in and dropped."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.engine.contract.space import State
from modecheck.engine.reference.happenings import Accepted, Doubled, Dropped
from modecheck.engine.reference.step_draft import StepDraft
from modecheck.product.evaluation import Evaluator, StepFailed
from modecheck.product.ir import Product, Queue, SendIR


class Queueing:
    """The links of one product."""

    def __init__(self, product: Product, evaluator: Evaluator) -> None:
        self._queues = product.queues
        self._holds = evaluator.holds

    def is_up(self, number: int, state: Sequence[int]) -> bool:
        """Whether a link delivers and accepts."""
        up = self._queues[number].up
        return up is None or self._holds(up, state)

    def is_ripe(self, number: int, state: State) -> bool:
        """Whether the head of a queue, if it has one, has come to its receiver."""
        queue = self._queues[number]
        head = queue.slots[0]
        if not state[head.code] or (head.age >= 0 and state[head.age] < queue.earliest):
            return False
        return self.is_up(number, state)

    def put(self, draft: StepDraft, send: SendIR, value: int) -> None:
        """A message that was sent comes to its queue. Raises `StepFailed`."""
        queue, now = self._queues[send.queue], draft.now
        if not self.is_up(send.queue, now):
            draft.log.append(Dropped(send.queue, send.message, "down", queued=False))
            return
        if _merged(draft, queue, send, value):
            return
        free = [slot for slot in queue.slots if not now[slot.code]]
        if not free:
            if queue.when_full in ("error", "wait"):
                raise StepFailed(send.overflow)
            if queue.when_full == "drop_new":
                draft.log.append(Dropped(send.queue, send.message, "full", queued=False))
                return
            self.drop_head(draft, send.queue, "full")
            free = [queue.slots[-1]]
        now[free[0].code] = send.message
        if free[0].value >= 0:
            now[free[0].value] = value
        draft.log.append(Accepted(send.queue, send.message, value, merged=False))

    def take_down(self, draft: StepDraft) -> None:
        """Links that are down are emptied, or what waits in them becomes late."""
        for number, queue in enumerate(self._queues):
            if draft.now[queue.slots[0].code] and not self.is_up(number, draft.now):
                if queue.holds:
                    self.make_late(draft, number)
                else:
                    self.empty(draft, number, "down")

    def empty(self, draft: StepDraft, number: int, why: str) -> None:
        """All that waits in a queue is dropped."""
        while draft.now[self._queues[number].slots[0].code]:
            self.drop_head(draft, number, why)

    def drop_head(self, draft: StepDraft, number: int, why: str) -> None:
        """The head of a queue is dropped."""
        queue = self._queues[number]
        draft.log.append(Dropped(number, draft.now[queue.slots[0].code], why))
        _pop(draft.now, queue)

    def double_head(self, draft: StepDraft, number: int) -> None:
        """A copy of the head comes right behind it; the others move back. There must be room."""
        queue, now = self._queues[number], draft.now
        draft.log.append(Doubled(number, now[queue.slots[0].code]))
        for slot, before in zip(queue.slots[:0:-1], queue.slots[-2::-1], strict=True):
            for where, source in zip(slot.fields, before.fields, strict=True):
                now[where] = now[source]

    def make_late(self, draft: StepDraft, number: int) -> None:
        """What waits in a queue is of an old session from now on."""
        for slot in self._queues[number].slots:
            if slot.late >= 0 and draft.now[slot.code]:
                draft.now[slot.late] = 1


def arrival(state: State, queue: Queue) -> StepDraft:
    """A step that begins with the head of a queue."""
    head = queue.slots[0]
    payload = state[head.value] if head.value >= 0 else 0
    draft = StepDraft(list(state), payload, state[head.late] if head.late >= 0 else 0)
    _pop(draft.now, queue)
    return draft


def _pop(now: list[int], queue: Queue) -> None:
    """Take the head off a queue; the others move up."""
    for slot, behind in zip(queue.slots, queue.slots[1:], strict=False):
        for where, source in zip(slot.fields, behind.fields, strict=True):
            now[where] = now[source]
    for where in queue.slots[-1].fields:
        now[where] = 0


def _merged(draft: StepDraft, queue: Queue, send: SendIR, value: int) -> bool:
    """A newer state replaces, a relative amount adds to, the last one that waits, if one does. A
    state is then of this session; an amount stays late if a part of it is.
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
