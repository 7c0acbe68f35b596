"""What the code of every part of a step shares: what is known of the step while it is written, how
it reads fields, and how it fails.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.expressions import ProductExpressionCode, Reading
from modecheck.engine.native.frame import FALSE, TRUE, FunctionFrame, constant
from modecheck.engine.native.observer_code import ObserverCode
from modecheck.engine.native.queues import QueueCode
from modecheck.engine.reference.event_bits import event_bits
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import FaultIR, Product, Reaction, SendIR


@dataclass(slots=True)
class Pending:
    """A signal that may have been raised in the step under way, by whom, and with which value: a
    variable that holds it if there is a `flag`, else the value itself.
    """

    signal: int
    signaller: int
    flag: ir.Value | None
    value: ir.Value | None

    def note(self, builder: ir.Builder, value: ir.Value | None) -> None:
        """It is raised, perhaps with a value."""
        assert self.flag is not None
        builder.store(constant(1), self.flag)
        if value is not None:
            assert self.value is not None
            builder.store(value, self.value)


@dataclass(slots=True)
class PendingSend:
    send: SendIR
    flag: ir.Value | None
    value: ir.Value | None

    def note(self, builder: ir.Builder, value: ir.Value | None) -> None:
        """It is sent, perhaps with a value."""
        assert self.flag is not None
        builder.store(constant(1), self.flag)
        if value is not None:
            assert self.value is not None
            builder.store(value, self.value)


@dataclass(slots=True)
class EffectFlags:
    """Where those who may hear a signal note what they signal and send, by chip, rule and place."""

    signalled: dict[tuple[int, int, int], Pending] = field(default_factory=dict)
    sent: dict[tuple[int, int, int], PendingSend] = field(default_factory=dict)


@dataclass(slots=True)
class StepPlan:
    """What is known of the step under way while its code is written.

    `onward` is set in a part beside which others are gone through even if it fails: they begin
    there. `failed` is a flag that says that some part has failed, `named` where each failure was
    first, and `unchecked` whether the step goes on without having looked.
    """

    label: int
    by_system: bool
    payload: ir.Value
    late: ir.Value
    signalled: list[Pending] = field(default_factory=list)
    sends: list[PendingSend] = field(default_factory=list)
    separate: list[tuple[int, Reaction]] = field(default_factory=list)
    cut: tuple[FaultIR, int, int] | None = None
    cut_flag: ir.Value | None = None
    onward: ir.BasicBlock | None = None
    failed: ir.Value | None = None
    unchecked: bool = False
    named: dict[Failure, ir.BasicBlock] = field(default_factory=dict)

    def in_another_part(self, failure: Failure, onward: ir.BasicBlock) -> bool:
        """Whether some part before this one can fail in the same way."""
        return self.named.setdefault(failure, onward) is not onward


class StepParts:
    """Writes into a frame what several parts of a step need."""

    def __init__(
        self,
        product: Product,
        frame: FunctionFrame,
        by_system: Sequence[bool],
        curious: frozenset[int],
    ) -> None:
        self._product = product
        self._frame = frame
        self._by_system = by_system
        self._curious = curious
        self._code = ProductExpressionCode(frame.builder, frame.function)
        self._bits = event_bits(product.events)
        self._queues = QueueCode(product, frame, self._code, self._bits)
        self._observers = ObserverCode(product, frame, self._code)
        self._cuts = [fault for fault in product.faults if fault.of_chip]
        self._hearings = 0
        self._one_of_several = False
        self._turns: list[ir.Value | None] = []
        self._plan = StepPlan(0, False, constant(0), constant(0))

    def _reading_before(self) -> Reading:
        """How conditions read the state in which the step begins."""
        original = self._frame.original
        return Reading(original.__getitem__, constant(0), constant(0), self._fail)

    def _reading(self, chip: int, snapshot: dict[int, ir.Value] | None = None) -> Reading:
        """How a chip reads: its own fields as they are, others' as in the snapshot, if any."""
        frame = self._frame

        def read(number: int) -> ir.Value:
            if snapshot is None or self._product.fields[number].owner == chip:
                return frame.read(number)
            return snapshot.get(number, frame.original[number])

        return Reading(read, self._plan.payload, self._plan.late, self._fail)

    def _reading_all(self) -> Reading:
        return self._reading(-2)

    def _fail(self, failure: Failure) -> None:
        plan, frame = self._plan, self._frame
        if plan.onward is not None:
            self._fail_beside_others(failure, plan.onward)
        elif plan.cut is None:
            alone = not self._one_of_several
            frame.fail(failure, frame.step_end, by_system=plan.by_system, alone=alone)
        else:
            # A cut that has not struck yet is no step of its own: its failure is reported already.
            frame.builder.branch(frame.step_end)

    def _fail_beside_others(self, failure: Failure, onward: ir.BasicBlock) -> None:
        """A part fails, and the others are gone through, from a block on."""
        plan, frame = self._plan, self._frame
        if onward not in plan.named.values():
            frame.most_records += 1
        once = plan.in_another_part(failure, onward)
        plan.failed, plan.unchecked = plan.failed or frame.flag(), True
        frame.builder.store(constant(1), plan.failed)
        alone = not self._one_of_several
        frame.fail(failure, onward, by_system=plan.by_system, once=once, alone=alone)

    @contextmanager
    def _part(self, onward: ir.BasicBlock) -> Iterator[None]:
        """What is inside goes on at once with other parts, which begin at a block."""
        self._plan.onward = onward
        yield
        self._plan.onward = None

    def _unless_failed(self) -> None:
        """End the step if some part of it has failed."""
        plan, builder = self._plan, self._frame.builder
        if plan.failed is None or not plan.unchecked:
            return
        plan.unchecked = False
        failed = builder.icmp_signed("!=", builder.load(plan.failed), constant(0))
        with self._frame.only_if(failed):
            if plan.cut_flag is not None:
                # It is a step of its own only if the cut has struck by then.
                struck = builder.icmp_signed("!=", builder.load(plan.cut_flag), constant(0))
                with self._frame.only_if(builder.not_(struck)):
                    self._frame.take_back()
            builder.branch(self._frame.step_end)

    def _begin(self, label: int, payload: ir.Value, late: ir.Value) -> None:
        self._plan = StepPlan(label, self._by_system[label], payload, late)

    def _need_guard(self, number: int, reaction: Reaction) -> None:
        if reaction.guard is not None:
            condition = self._code.truth(reaction.guard, self._reading(number))
            self._frame.unless(condition, self._frame.step_end)

    def _is_one_of(self, state_field: int, leaves: Sequence[int], count: int) -> ir.Value:
        if len(leaves) == count:
            return TRUE
        result = FALSE
        state = self._frame.read(state_field)
        for leaf in leaves:
            is_it = self._frame.builder.icmp_signed("==", state, constant(leaf))
            result = is_it if result is FALSE else self._frame.builder.or_(result, is_it)
        return result

    def _need_range(self, value: ir.Value, low: int, high: int, failure: Failure) -> None:
        builder = self._frame.builder
        offset = builder.sub(value, constant(low))
        within = builder.icmp_unsigned("<=", offset, constant(high - low))
        onward, outside = self._frame.block("within"), self._frame.block("outside")
        builder.cbranch(within, onward, outside)
        builder.position_at_end(outside)
        self._fail(failure)
        builder.position_at_end(onward)
