"""What happens to the queues of links in a step: heads are taken, messages put in and dropped."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from modecheck.engine.contract.space import State
from modecheck.engine.reference.happenings import Accepted, Corrupted, Doubled, Dropped
from modecheck.engine.reference.step_draft import StepDraft
from modecheck.product.evaluation import Evaluator, StepFailed
from modecheck.product.ir import Product, Queue, SendIR, Slot


class Queueing:
    """The links of one product."""

    def __init__(self, product: Product, evaluator: Evaluator) -> None:
        self._queues = product.queues
        self._holds = evaluator.holds

    def is_up(self, number: int, state: Sequence[int]) -> bool:
        """Whether a link delivers and accepts."""
        up = self._queues[number].up
        return up is None or self._holds(up, state)

    def ripe(self, number: int, state: State) -> list[int]:
        """The places in a queue of what has come to its receiver: its head, if anything. Where
        messages may overtake each other, each of those that differ.
        """
        queue = self._queues[number]
        found = [
            place
            for place in different(queue, state)
            if (age := queue.slots[place].age) < 0 or state[age] >= queue.earliest
        ]
        return found if found and self.is_up(number, state) else []

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
            self.drop(draft, send.queue, "full")
            free = [queue.slots[-1]]
        now[free[0].code] = send.message
        if free[0].value >= 0:
            now[free[0].value] = value
        draft.log.append(Accepted(send.queue, send.message, value, merged=False))

    def take_down(self, draft: StepDraft) -> None:
        """Links that are down are emptied, or what waits in them becomes late. Then what has no
        order is put in the order in which it is kept.
        """
        for number, queue in enumerate(self._queues):
            if draft.now[queue.slots[0].code] and not self.is_up(number, draft.now):
                if queue.holds:
                    self.make_late(draft, number)
                else:
                    self.empty(draft, number, "down")
            if queue.any_order:
                _put_in_order(draft.now, queue)

    def empty(self, draft: StepDraft, number: int, why: str) -> None:
        """All that waits in a queue is dropped."""
        while draft.now[self._queues[number].slots[0].code]:
            self.drop(draft, number, why)

    def drop(self, draft: StepDraft, number: int, why: str, place: int = 0) -> None:
        """The head of a queue is dropped, or what stands in another place."""
        queue, now = self._queues[number], draft.now
        slot = queue.slots[place]
        draft.log.append(Dropped(number, now[slot.code], why, value=_value(now, slot)))
        _take(now, queue, place)

    def double(self, draft: StepDraft, number: int, place: int) -> None:
        """A copy comes right behind a message; those behind it move back. There must be room."""
        queue, now = self._queues[number], draft.now
        first = queue.slots[place]
        draft.log.append(Doubled(number, now[first.code], _value(now, first)))
        slots = queue.slots[place:]
        for slot, before in zip(slots[:0:-1], slots[-2::-1], strict=True):
            for where, source in zip(slot.fields, before.fields, strict=True):
                now[where] = now[source]

    def corrupt(self, draft: StepDraft, number: int, place: int) -> None:
        """A message becomes one that nobody can use: only its age and its session stay."""
        queue, now = self._queues[number], draft.now
        slot = queue.slots[place]
        draft.log.append(Corrupted(number, now[slot.code], _value(now, slot)))
        now[slot.code] = queue.corrupted
        if slot.value >= 0:
            now[slot.value] = 0

    def make_late(self, draft: StepDraft, number: int) -> None:
        """What waits in a queue is of an old session from now on."""
        for slot in self._queues[number].slots:
            if slot.late >= 0 and draft.now[slot.code]:
                draft.now[slot.late] = 1


def different(queue: Queue, state: Sequence[int]) -> list[int]:
    """The places from which something can be taken: that of the head, if there is one. Where
    messages may overtake each other, the first place of each of those that differ: equal ones stand
    together.
    """
    found = [place for place, slot in enumerate(queue.heads) if state[slot.code]]
    return [p for p in found if not p or _held(queue, state, p) != _held(queue, state, p - 1)]


def _held(queue: Queue, state: Sequence[int], place: int) -> list[int]:
    return [state[where] for where in queue.slots[place].fields]


def arrival(state: State, queue: Queue, place: int = 0) -> StepDraft:
    """A step that begins with the head of a queue, or with what stands in another place."""
    head = queue.slots[place]
    draft = StepDraft(list(state), _value(state, head), state[head.late] if head.late >= 0 else 0)
    _take(draft.now, queue, place)
    return draft


def _value(state: Sequence[int], slot: Slot) -> int:
    return state[slot.value] if slot.value >= 0 else 0


def _take(now: list[int], queue: Queue, place: int) -> None:
    """Take what stands in a place off a queue; the others move up."""
    slots = queue.slots[place:]
    for slot, behind in pairwise(slots):
        for where, source in zip(slot.fields, behind.fields, strict=True):
            now[where] = now[source]
    for where in queue.slots[-1].fields:
        now[where] = 0


def _put_in_order(now: list[int], queue: Queue) -> None:
    """Keep what has no order in one: the oldest first, then by code, value and session."""
    full = [
        (-now[slot.age] if slot.age >= 0 else 0, _held(queue, now, place))
        for place, slot in enumerate(queue.slots)
        if now[slot.code]
    ]
    for slot, (_, held) in zip(queue.slots, sorted(full), strict=False):
        for where, value in zip(slot.fields, held, strict=True):
            now[where] = value


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
