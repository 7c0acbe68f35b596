"""What happens to queues within a step, as machine code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise
from typing import Protocol

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.expressions import ProductExpressionCode, Reading
from modecheck.engine.native.frame import FALSE, I1, TRUE, FunctionFrame, constant
from modecheck.engine.reference.event_bits import EventBits
from modecheck.product.expression_ir import Expression, Failure
from modecheck.product.ir import Product, Queue, SendIR, Slot
from modecheck.product.subexpressions import fields_read


class PendingMessage(Protocol):
    """A message that may have been sent in the step under way."""

    send: SendIR
    flag: ir.Value | None
    value: ir.Value | None


class Blocks(Protocol):
    """A function under construction that new blocks can be added to."""

    builder: ir.Builder

    def block(self, name: str) -> ir.BasicBlock:
        """A new block of the function."""


Fail = Callable[[Failure, ir.BasicBlock], None]
"""Something fails, and what goes on at once with it goes on in a block."""


class QueueCode:
    """Writes what is done to queues, at the builder's position."""

    def __init__(
        self, product: Product, frame: FunctionFrame, code: ProductExpressionCode, bits: EventBits
    ) -> None:
        self._product = product
        self._frame = frame
        self._code = code
        self._bits = bits
        self._read_by_up = [fields_read(queue.up) for queue in product.queues]

    def is_up(self, number: int, reading: Reading) -> ir.Value:
        """Whether a link is up in the state reached so far; an index out of range makes it down."""
        up = self._product.queues[number].up
        if up is None:
            return TRUE
        return condition_or_false(self._frame, self._code, up, reading)

    def need(self, number: int, place: int) -> None:
        """End the step unless something stands in a place. Where messages may overtake each other,
        of those that are alike only the first counts.
        """
        frame, builder = self._frame, self._frame.builder
        queue = self._product.queues[number]
        slot = queue.slots[place]
        some = builder.icmp_signed("!=", frame.read(slot.code), constant(0))
        frame.unless(some, frame.step_end)
        if place:
            before = queue.slots[place - 1]
            differs = constant(0)
            for one, two in zip(slot.fields, before.fields, strict=True):
                differs = builder.or_(differs, builder.xor(frame.read(one), frame.read(two)))
            frame.unless(builder.icmp_signed("!=", differs, constant(0)), frame.step_end)

    def pop(self, number: int, place: int = 0) -> None:
        """Take the head off, or what stands in another place; those behind it move up."""
        slots = self._product.queues[number].slots[place:]
        for slot, behind in pairwise(slots):
            self._copy(behind, slot)
        for field in slots[-1].fields:
            self._frame.write(field, constant(0))

    def double(self, number: int, place: int) -> None:
        """Put a copy of a message right behind it. There must be room."""
        slots = self._product.queues[number].slots[place:]
        for slot, before in zip(slots[:0:-1], slots[-2::-1], strict=True):
            self._copy(before, slot)

    def _copy(self, source: Slot, target: Slot) -> None:
        for one, two in zip(source.fields, target.fields, strict=True):
            self._frame.write(two, self._frame.read(one))

    def empty(self, number: int) -> None:
        """Drop whatever waits."""
        for slot in self._product.queues[number].slots:
            self._note_dropped(number, slot)
            for field in slot.fields:
                self._frame.write(field, constant(0))

    def drop(self, number: int, place: int = 0) -> None:
        """The head is gone, or what stands in another place, and did not arrive."""
        self._note_dropped(number, self._product.queues[number].slots[place])
        self.pop(number, place)

    def corrupt(self, number: int, place: int) -> None:
        """A message becomes one that nobody can use. End the step if it is one already."""
        frame, queue = self._frame, self._product.queues[number]
        slot = queue.slots[place]
        usable = frame.builder.icmp_signed("!=", frame.read(slot.code), constant(queue.corrupted))
        frame.unless(usable, frame.step_end)
        self._note_dropped(number, slot)
        frame.write(slot.code, constant(queue.corrupted))
        if slot.value >= 0:
            frame.write(slot.value, constant(0))

    def _note_dropped(self, number: int, slot: Slot) -> None:
        for code in range(1, len(self._product.queues[number].messages) + 1):
            bits = self._bits.dropped.get((number, code), 0)
            if bits:
                held = self._frame.read(slot.code)
                is_it = self._frame.builder.icmp_signed("==", held, constant(code))
                with self._frame.only_if(is_it):
                    self._frame.note_events(bits)

    def make_late(self, number: int) -> None:
        """What waits now belongs to an older session."""
        builder = self._frame.builder
        for slot in self._product.queues[number].slots:
            if slot.late >= 0:
                full = builder.icmp_signed("!=", self._frame.read(slot.code), constant(0))
                late = self._frame.read(slot.late)
                self._frame.write(slot.late, builder.select(full, constant(1), late))

    def finish(self, waiting: Sequence[PendingMessage], reading: Reading, fail: Fail) -> None:
        """Queue what was sent, in order; then empty or age the links that are down."""
        ups = {one.send.queue: self.is_up(one.send.queue, reading) for one in waiting}
        for one in waiting:
            up, builder = ups[one.send.queue], self._frame.builder
            sent = TRUE
            if one.flag is not None:
                sent = builder.icmp_signed("!=", builder.load(one.flag), constant(0))
            dropped = self._bits.dropped.get((one.send.queue, one.send.message), 0)
            if dropped and up is not TRUE:
                with self._frame.only_if(builder.and_(sent, builder.not_(up))):
                    self._frame.note_events(dropped)
            with self._frame.only_if(builder.and_(up, sent)):
                self._put(one, fail)
        for number, queue in enumerate(self._product.queues):
            if queue.up is not None and self._may_go_down(number, queue):
                up = self.is_up(number, reading)
                with self._frame.only_if(self._frame.builder.not_(up)):
                    if queue.holds:
                        self.make_late(number)
                    else:
                        self.empty(number)
        for queue in self._product.queues:
            if queue.any_order and self._frame.touched & fields_of(queue):
                self._put_in_order(queue)

    def _put_in_order(self, queue: Queue) -> None:
        """Keep what has no order in one: the oldest first, then by code, value and session."""
        for end in range(len(queue.slots) - 1, 0, -1):
            for place in range(end):
                self._exchange_unless_ordered(queue.slots[place], queue.slots[place + 1])

    def _exchange_unless_ordered(self, one: Slot, two: Slot) -> None:
        """Exchange what stands in two places if the second is full and comes first."""
        frame, builder = self._frame, self._frame.builder
        held = [(frame.read(a), frame.read(b)) for a, b in zip(one.fields, two.fields, strict=True)]
        keys = [(frame.read(two.age), frame.read(one.age))] if one.age >= 0 else []
        # From the last key to the first: each decides where all before it are equal.
        before = FALSE
        for first, second in reversed([*keys, *held]):
            less = builder.icmp_signed("<", second, first)
            equal = builder.icmp_signed("==", second, first)
            before = builder.or_(less, builder.and_(equal, before))
        full = builder.icmp_signed("!=", frame.read(two.code), constant(0))
        swaps = builder.and_(before, full)
        for a, b, (first, second) in zip(one.fields, two.fields, held, strict=True):
            frame.write(a, builder.select(swaps, second, first))
            frame.write(b, builder.select(swaps, first, second))

    def _may_go_down(self, number: int, queue: Queue) -> bool:
        """Whether this step can find the link down with something in it: else nothing changes."""
        return bool(self._frame.touched & (fields_of(queue) | self._read_by_up[number]))

    def _put(self, one: PendingMessage, fail: Fail) -> None:
        queue = self._product.queues[one.send.queue]
        value = one.value
        if value is not None and one.flag is not None:
            value = self._frame.builder.load(value)
        after = self._frame.block("queued")
        if queue.messages[one.send.message - 1].kind != "event":
            self._merge(queue, one.send, value, fail, after)
        self._append(queue, one.send, value, fail, after)
        self._frame.builder.position_at_end(after)

    def _merge(
        self, queue: Queue, send: SendIR, value: ir.Value | None, fail: Fail, after: ir.BasicBlock
    ) -> None:
        """A newer state replaces, a relative amount adds to, the last one that waits."""
        frame, builder = self._frame, self._frame.builder
        message = queue.messages[send.message - 1]
        for slot in reversed(queue.slots):
            same = builder.icmp_signed("==", frame.read(slot.code), constant(send.message))
            with frame.only_if(same):
                if slot.value >= 0:
                    new = value if value is not None else constant(0)
                    if message.kind == "relative":
                        new = builder.add(new, frame.read(slot.value))
                    failed = partial(fail, send.value_failure, after)
                    self._need_range(new, message.low, message.high, failed)
                    frame.write(slot.value, new)
                if slot.late >= 0 and message.kind == "state":
                    frame.write(slot.late, constant(0))
                frame.note_events(self._bits.accepted.get((send.queue, send.message), 0))
                builder.branch(after)

    def _need_range(self, value: ir.Value, low: int, high: int, failed: Callable[[], None]) -> None:
        builder = self._frame.builder
        within = builder.icmp_unsigned(
            "<=", builder.sub(value, constant(low)), constant(high - low)
        )
        onward, outside = self._frame.block("within"), self._frame.block("outside")
        builder.cbranch(within, onward, outside)
        builder.position_at_end(outside)
        failed()
        builder.position_at_end(onward)

    def _append(
        self, queue: Queue, send: SendIR, value: ir.Value | None, fail: Fail, after: ir.BasicBlock
    ) -> None:
        """Into the first free slot; what happens when there is none is the link's own choice."""
        frame, builder = self._frame, self._frame.builder
        for slot in queue.slots:
            free = builder.icmp_signed("==", frame.read(slot.code), constant(0))
            with frame.only_if(free):
                self._fill(slot, send, value)
                builder.branch(after)
        if queue.when_full in ("error", "wait"):
            fail(send.overflow, after)
            return
        if queue.when_full == "drop_old":
            self.drop(send.queue)
            self._fill(queue.slots[-1], send, value)
        else:
            frame.note_events(self._bits.dropped.get((send.queue, send.message), 0))
        builder.branch(after)

    def _fill(self, slot: Slot, send: SendIR, value: ir.Value | None) -> None:
        self._frame.write(slot.code, constant(send.message))
        self._frame.note_events(self._bits.accepted.get((send.queue, send.message), 0))
        if slot.value >= 0:
            self._frame.write(slot.value, value if value is not None else constant(0))


def fields_of(queue: Queue) -> set[int]:
    """All fields of a queue."""
    return {field for slot in queue.slots for field in slot.fields}


def condition_or_false(
    frame: Blocks, code: ProductExpressionCode, expression: Expression, reading: Reading
) -> ir.Value:
    """A condition on the whole state; an index out of range makes it false."""
    builder = frame.builder
    after = frame.block("known")
    failures: list[ir.BasicBlock] = []

    def failed(_: Failure) -> None:
        failures.append(builder.block)
        builder.branch(after)

    quiescent = Reading(reading.field, reading.payload, reading.late, failed)
    value = code.truth(expression, quiescent)
    if not failures:
        # Nothing can fail: the block goes on by itself.
        builder.branch(after)
        builder.position_at_end(after)
        return value
    last = builder.block
    builder.branch(after)
    builder.position_at_end(after)
    phi = builder.phi(I1)
    phi.add_incoming(value, last)
    for block in failures:
        phi.add_incoming(FALSE, block)
    return phi
