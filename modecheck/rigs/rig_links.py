"""A link of a rig: its waiting messages, and what happens when it is full or down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.engine.evaluation import StepFailed
from modecheck.engine.happenings import Accepted, Dropped, Happening
from modecheck.product.ir import Queue, SendIR


@dataclass(slots=True)
class MessageInFlight:
    """A message (code) in flight for `age` ticks; `late` when its session is over."""

    message: int
    value: int
    late: bool
    age: int = 0


class LinkQueue:
    """The queue of one link (number), its head first."""

    def __init__(self, number: int, queue: Queue) -> None:
        self.number = number
        self.queue = queue
        self.waiting: list[MessageInFlight] = []

    @property
    def name(self) -> str:
        return self.queue.name

    @property
    def messages(self) -> tuple[str, ...]:
        """The names of the waiting messages, the head first."""
        return tuple(self.queue.messages[one.message - 1].name for one in self.waiting)

    @property
    def full(self) -> bool:
        return len(self.waiting) == len(self.queue.slots)

    @property
    def ripe(self) -> bool:
        """Whether a waiting message has been in flight for long enough."""
        return bool(self.waiting) and self.waiting[0].age >= self.queue.earliest

    @property
    def overdue(self) -> bool:
        """Whether a waiting message must not be in flight any longer."""
        return bool(self.waiting) and self.waiting[0].age == self.queue.latest

    def load(self, fields: Sequence[int]) -> None:
        """Load the waiting messages from a state of the product."""
        self.waiting = [
            MessageInFlight(
                fields[slot.code],
                fields[slot.value] if slot.value >= 0 else 0,
                slot.late >= 0 and bool(fields[slot.late]),
                fields[slot.age] if slot.age >= 0 else 0,
            )
            for slot in self.queue.slots
            if fields[slot.code]
        ]

    def store(self, fields: list[int]) -> None:
        """Store the waiting messages in a state of the product."""
        places = [*self.waiting, *[None] * (len(self.queue.slots) - len(self.waiting))]
        for slot, one in zip(self.queue.slots, places, strict=True):
            fields[slot.code] = one.message if one else 0
            if slot.value >= 0:
                fields[slot.value] = one.value if one else 0
            if slot.late >= 0:
                fields[slot.late] = int(one.late) if one else 0
            if slot.age >= 0:
                fields[slot.age] = one.age if one else 0

    def put(self, send: SendIR, value: int, log: list[Happening]) -> None:
        """Append a message. Raises `StepFailed` if there must be room and there is none, or if an
        amount leaves its range.
        """
        if self._merged(send, value):
            log.append(Accepted(self.number, send.message, value, merged=True))
            return
        if self.full and self.queue.when_full in ("error", "wait"):
            raise StepFailed(send.overflow)
        if self.full and self.queue.when_full == "drop_new":
            log.append(Dropped(self.number, send.message, "full"))
            return
        if self.full:
            log.append(Dropped(self.number, self.waiting.pop(0).message, "full"))
        self.waiting.append(MessageInFlight(send.message, value, late=False))
        log.append(Accepted(self.number, send.message, value, merged=False))

    def _merged(self, send: SendIR, value: int) -> bool:
        """Whether the message became one with the last of its name: a newer picture, or a sum."""
        form = self.queue.messages[send.message - 1]
        same = [one for one in self.waiting if one.message == send.message]
        if form.kind == "event" or not same:
            return False
        total = same[-1].value + value if form.kind == "relative" else value
        if not form.low <= total <= form.high:
            raise StepFailed(send.value_failure)
        same[-1].value = total
        same[-1].late = same[-1].late and form.kind == "relative"
        return True

    def empty(self, why: str, log: list[Happening]) -> None:
        """Drop everything in flight."""
        log += [Dropped(self.number, one.message, why) for one in self.waiting]
        self.waiting = []

    def end_session(self) -> None:
        """Everything in flight is late from now on, if some rule checks that."""
        for one in self.waiting:
            one.late = self.queue.slots[0].late >= 0
