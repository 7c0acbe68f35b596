"""The frame of a compiled successor function: fields in registers, records written out.

`successors(state, out, seen) -> count | DRIVEN` takes addresses. `state` holds the words of a
state; for each step a record is written to `out`: the words of the next state, then the step's
label with its watched events, then the bits of the chips that moved; above those stand the events
that nobody watches, which are there to be overheard (`overheard_events`). A failing step has a
record for each of its failures, one behind the other, in which the label has the bit `FAILED` and
the number of the failure above it. `seen` is an array of bytes that are set to 1 for whatever was
met or taken (see `NotedBytes`).

Every field has a variable on the stack that holds its value in the step under way. LLVM turns
these variables into registers; between two steps they are set back to the state's own values.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from modecheck.engine.language import assembly as ir
from modecheck.engine.reference.system_actions import obliging_labels, own_fields
from modecheck.product.bit_packing import WordLayout
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import Product

I1 = ir.BIT
I8 = ir.Type("i8")
I64 = ir.Type("i64")

TRUE, FALSE = ir.Value(I1, "1"), ir.Value(I1, "0")
FAILED = 1 << 63
FAILURE_SHIFT = 32
"""Above the label: the number of a failure, or the bits of watched events."""
DRIVEN = 1 << 32
"""Set in the result when a chip or link keeps the device going: the state is not quiet."""
BYTES_OF_A_WORD = 8
RECORD_EXTRA = 2
"""Words of a record beyond those of the state."""


def constant(value: int) -> ir.Value:
    """A 64-bit constant, by its bits."""
    value &= (1 << 64) - 1
    return ir.Value(I64, str(value - (1 << 64) if value >= 1 << 63 else value))


def overheard_events(product: Product) -> int:
    """How many events a step tells beyond those that are watched: without observers beside it, a
    product has them only to be told.
    """
    return 0 if product.observers else len(product.events) - len(product.watched_events)


class NotCompilableError(Exception):
    """The product needs more than this engine can do; the reference can explore it."""


class NotedBytes:
    """Numbers the bytes in which a successor function notes what it met and took."""

    def __init__(self) -> None:
        self.numbers: dict[tuple[object, ...], int] = {}

    def number(self, *key: object) -> int:
        return self.numbers.setdefault(key, len(self.numbers))


@dataclass(frozen=True, slots=True)
class RecordList:
    """Records of so many words, one behind the other, from an address on. The variable `position`
    holds where the next one will be.
    """

    begin: ir.Value
    position: ir.Value
    words: int

    @property
    def size(self) -> ir.Value:
        """Bytes of a record."""
        return constant(BYTES_OF_A_WORD * self.words)

    def count(self, builder: ir.Builder) -> ir.Value:
        """How many there are."""
        written = builder.sub(builder.load(self.position), self.begin)
        return builder.udiv(written, self.size)

    def are_none(self, builder: ir.Builder) -> ir.Value:
        """Whether there is no record yet."""
        return builder.icmp_unsigned("==", builder.load(self.position), self.begin)

    def append(self, builder: ir.Builder, values: Sequence[ir.Value]) -> None:
        """Write one more."""
        position = builder.load(self.position)
        record = builder.inttoptr(position, I64.as_pointer())
        for number, value in enumerate(values):
            builder.store(value, builder.gep(record, [constant(number)]))
        builder.store(builder.add(position, self.size), self.position)

    def value_at(self, builder: ir.Builder, place: ir.Value, number: int) -> ir.Value:
        """A value of the record at a place."""
        record = builder.inttoptr(place, I64.as_pointer())
        return builder.load(builder.gep(record, [constant(number)]))


class FunctionFrame:
    """The function under construction: fields, records, and the step under way."""

    NAME = "successors"

    def __init__(self, product: Product, layout: WordLayout, module: ir.Module) -> None:
        self.product = product
        self.layout = layout
        self.failures: list[Failure] = []
        self.seen = NotedBytes()
        self.function = ir.Function(module, self.NAME, I64, self._parameters())
        self._entry = self.function.append_basic_block("entry")
        self.builder = ir.Builder(self.function, self._entry)
        self.words, self._made, self._failed = self._begun()
        self.original = unpacked(self.builder, self.words, layout)
        self._variables = [self.builder.alloca(I64) for _ in product.fields]
        for variable, value in zip(self._variables, self.original, strict=True):
            self.builder.store(value, variable)
        self._driven = self._variable(constant(0))
        self._obliged = self._variable(constant(0))
        self._obliging = obliging_labels(product)
        self._own = own_fields(product)
        self._time_waits = self._variable(constant(0))
        self._reported = (1 << len(product.watched_events)) - 1
        self.moved = self._variable(constant(0))
        self.events = self._variable(constant(0))
        self.touched: set[int] = set()
        self._cleared: list[ir.Value] = []
        self.step_end = self._entry
        self._start: ir.Value | None = None
        self._group: ir.Value | None = None
        self.most_records = 0
        self._label = 0

    def _parameters(self) -> tuple[ir.Type, ...]:
        return I64, I64, I64

    def _begun(self) -> tuple[list[ir.Value], RecordList, RecordList]:
        """The words of the state; where records go, and those of failing steps: to one place."""
        state, out, self._seen_at = self.function.args
        words = self.builder.inttoptr(state, I64.as_pointer())
        places = [self.builder.gep(words, [constant(n)]) for n in range(self.layout.words)]
        both = RecordList(out, self._variable(out), self.layout.words + RECORD_EXTRA)
        return [self.builder.load(place) for place in places], both, both

    def _variable(self, value: ir.Value) -> ir.Value:
        variable = self.builder.alloca(I64)
        self.builder.store(value, variable)
        return variable

    def variable(self) -> ir.Value:
        """A variable that holds nothing yet."""
        with self.builder.goto_block(self._entry):
            return self.builder.alloca(I64)

    def flag(self) -> ir.Value:
        """A variable that is 0 when the step under way begins."""
        variable = self.variable()
        self._cleared.append(variable)
        return variable

    def read(self, field: int) -> ir.Value:
        """The value of a field in the step under way."""
        if field not in self.touched:
            return self.original[field]
        return self.builder.load(self._variables[field])

    def write(self, field: int, value: ir.Value) -> None:
        self.touched.add(field)
        self.builder.store(value, self._variables[field])

    @contextmanager
    def everything_touched(self) -> Iterator[None]:
        """Code inside serves several steps: it finds each field as the step under way left it."""
        touched = self.touched
        self.touched = set(range(len(self._variables)))
        yield
        self.touched = touched

    @contextmanager
    def step(self, label: int) -> Iterator[None]:
        """Everything inside belongs to one step; afterwards all fields are as they were."""
        begin = self.function.append_basic_block("step")
        body = self.function.append_basic_block("body")
        self.step_end = self.function.append_basic_block("end")
        self.touched, self._cleared, self._label = set(), [self.moved, self.events], label
        self._start = None
        self.most_records += 1
        self.builder.branch(begin)
        self.builder.position_at_end(body)
        yield
        if not self.builder.block.is_terminated:
            self.builder.branch(self.step_end)
        self.builder.position_at_end(begin)
        for variable in self._cleared:
            self.builder.store(constant(0), variable)
        if self._start is not None:
            self.builder.store(self.builder.load(self._failed.position), self._start)
        self.builder.branch(body)
        self.builder.position_at_end(self.step_end)
        for field in sorted(self.touched):
            self.builder.store(self.original[field], self._variables[field])
        self.touched = set()

    def block(self, name: str) -> ir.BasicBlock:
        return self.function.append_basic_block(name)

    def unless(self, condition: ir.Value, otherwise: ir.BasicBlock) -> None:
        """Go on only if the condition holds, else go to a block."""
        onward = self.block("onward")
        self.builder.cbranch(condition, onward, otherwise)
        self.builder.position_at_end(onward)

    @contextmanager
    def only_if(self, condition: ir.Value) -> Iterator[ir.BasicBlock]:
        """What is inside runs only if the condition holds; then both ways meet again, in the block
        that is given.
        """
        inside, after = self.block("inside"), self.block("after")
        self.builder.cbranch(condition, inside, after)
        self.builder.position_at_end(inside)
        yield after
        if not self.builder.block.is_terminated:
            self.builder.branch(after)
        self.builder.position_at_end(after)

    def note_seen(self, number: ir.Value) -> None:
        """Set a byte of `seen`."""
        address = self.builder.add(self._seen_at, number)
        self.builder.store(ir.Value(I8, "1"), self.builder.inttoptr(address, I8.as_pointer()))

    def note_events(self, bits: int) -> None:
        """These events happen in the step under way."""
        if bits:
            happened = self.builder.or_(self.builder.load(self.events), constant(bits))
            self.builder.store(happened, self.events)

    def _note_possible(self, keeps_going: ir.Value) -> None:
        """There is such a step: a chip or link can go on, or has to."""
        going = self.builder.select(keeps_going, constant(DRIVEN), constant(0))
        driven = self.builder.or_(self.builder.load(self._driven), going)
        self.builder.store(driven, self._driven)
        if self._label in self._obliging:
            self.builder.store(constant(1), self._obliged)
        waits = self._word(self._comes_first())
        self.builder.store(
            self.builder.or_(self.builder.load(self._time_waits), waits), self._time_waits
        )

    def _comes_first(self) -> ir.Value:
        """Time waits for steps that are done at once, and for deliveries at the latest moment."""
        time, label = self.product.time, self.product.labels[self._label]
        if time is None:
            return FALSE
        if self._label in time.at_once:
            return TRUE
        if label.kind in ("deliver", "discard") and self.product.queues[label.queue].latest >= 0:
            queue = self.product.queues[label.queue]
            age = self.original[queue.slots[0].age]
            return self.builder.icmp_signed("==", age, constant(queue.latest))
        return FALSE

    def _word(self, truth: ir.Value) -> ir.Value:
        return self.builder.zext(truth, I64)

    def unless_time_waits(self) -> None:
        """End the step if time cannot go on before some step made so far."""
        nothing = self.builder.icmp_signed("==", self.builder.load(self._time_waits), constant(0))
        self.unless(nothing, self.step_end)

    def nothing_written(self) -> ir.Value:
        """Whether no step of this state has been made so far."""
        return self._made.are_none(self.builder)

    def unless_unchanged(self) -> None:
        """End the step if all fields are as they were."""
        self.unless(self._changed(self.touched), self.step_end)

    def _changed(self, fields: Iterable[int]) -> ir.Value:
        """Whether some of these fields are not as they were."""
        changed = constant(0)
        for field in sorted(fields):
            difference = self.builder.xor(self.read(field), self.original[field])
            changed = self.builder.or_(changed, difference)
        return self.builder.icmp_signed("!=", changed, constant(0))

    def _leads_on(self) -> ir.Value:
        """Whether the step is not in place, or holds time up."""
        return self.builder.or_(self._changed(self.touched & self._own), self._comes_first())

    def unless_obliged(self) -> None:
        """End the step if some step made so far is one that has to happen in the end."""
        nothing = self.builder.icmp_signed("==", self.builder.load(self._obliged), constant(0))
        self.unless(nothing, self.step_end)

    def emit(self, *, by_system: bool, once: bool = False) -> None:
        """Write the record of the step that has been made, and end the step. With `once`, a record
        equal to one that is there already is not written again.
        """
        events = self.builder.and_(self.builder.load(self.events), constant(self._reported))
        shifted = self.builder.shl(events, constant(FAILURE_SHIFT))
        label = self.builder.or_(shifted, constant(self._label))
        values = self._step_record(self._packed(), label, self._moved_and_overheard())
        self._note_possible(self._leads_on() if by_system else FALSE)
        if once:
            self._unless_written(values, self._made, self._made.begin, self.step_end)
        self._made.append(self.builder, values)
        self.builder.branch(self.step_end)

    def _step_record(self, words: list[ir.Value], *about: ir.Value) -> list[ir.Value]:
        return [*words, *about]

    def _moved_and_overheard(self) -> ir.Value:
        moved = self.builder.load(self.moved)
        if not overheard_events(self.product):
            return moved
        reported = constant(len(self.product.watched_events))
        beyond = self.builder.lshr(self.builder.load(self.events), reported)
        above = self.builder.shl(beyond, constant(len(self.product.chips)))
        return self.builder.or_(moved, above)

    def _unless_written(
        self, values: list[ir.Value], among: RecordList, since: ir.Value, otherwise: ir.BasicBlock
    ) -> None:
        """Go on only if no record from this address on has these values, else go to a block."""
        builder = self.builder
        before = builder.block
        loop, compare, fresh = self.block("loop"), self.block("compare"), self.block("fresh")
        builder.branch(loop)
        builder.position_at_end(loop)
        place = builder.phi(I64)
        place.add_incoming(since, before)
        at_end = builder.icmp_unsigned("==", place, builder.load(among.position))
        builder.cbranch(at_end, fresh, compare)
        builder.position_at_end(compare)
        same = ir.Value(I1, "1")
        for number, value in enumerate(values):
            written = among.value_at(builder, place, number)
            same = builder.and_(same, builder.icmp_unsigned("==", written, value))
        place.add_incoming(builder.add(place, among.size), compare)
        builder.cbranch(same, otherwise, loop)
        builder.position_at_end(fresh)

    def fail(
        self,
        failure: Failure,
        onward: ir.BasicBlock,
        *,
        by_system: bool,
        once: bool = False,
        alone: bool = True,
    ) -> None:
        """Write a record of a failing step, and go on at a block. With `once`, a failure that the
        step has already is not written again; unless it is `alone`, nor one that another step of
        its label and group has.
        """
        if failure not in self.failures:
            self.failures.append(failure)
        number = self.failures.index(failure)
        label = constant(FAILED | number << FAILURE_SHIFT | self._label)
        values = self._failure_record(label)
        self._note_possible(TRUE if by_system else FALSE)
        if not alone:
            begun = self.builder.load(self._group_start())
            self._unless_written(values, self._failed, begun, onward)
        elif once:
            start = self.builder.load(self._step_start())
            self._unless_written(values, self._failed, start, onward)
        self._failed.append(self.builder, values)
        self.builder.branch(onward)

    def _failure_record(self, label: ir.Value) -> list[ir.Value]:
        return [*([constant(0)] * self.layout.words), label, constant(0)]

    def _step_start(self) -> ir.Value:
        """A variable with the address at which failures of the step under way are written."""
        if self._start is None:
            self._start = self.variable()
        return self._start

    def begin_group(self) -> None:
        """The steps from here on come from several places of one queue."""
        self.builder.store(self.builder.load(self._failed.position), self._group_start())

    def _group_start(self) -> ir.Value:
        """A variable with the address at which failures of the group under way are written."""
        if self._group is None:
            self._group = self.variable()
        return self._group

    def take_back(self) -> None:
        """The failures of the step under way were never written."""
        self.builder.store(self.builder.load(self._step_start()), self._failed.position)

    def _packed(self) -> list[ir.Value]:
        """The words of the state reached: the old ones with the touched fields replaced."""
        words = []
        for number, word in enumerate(self.words):
            fields = [f for f in sorted(self.touched) if self.layout.places[f].word == number]
            cleared = 0
            for field in fields:
                place = self.layout.places[field]
                cleared |= place.mask << place.shift
            packed = self.builder.and_(word, constant(~cleared)) if fields else word
            for field in fields:
                place = self.layout.places[field]
                offset = self.builder.sub(self.read(field), constant(place.low))
                packed = self.builder.or_(packed, self.builder.shl(offset, constant(place.shift)))
            words.append(packed)
        return words

    def finish(self) -> None:
        """End the function: the number of records, and whether the state is driven."""
        count = self._made.count(self.builder)
        self.builder.ret(self.builder.or_(count, self.builder.load(self._driven)))


def unpacked(builder: ir.Builder, words: list[ir.Value], layout: WordLayout) -> list[ir.Value]:
    """The value of every field of a state in words."""
    values = []
    for place in layout.places:
        if not place.bits:
            values.append(constant(place.low))
            continue
        shifted = builder.lshr(words[place.word], constant(place.shift))
        stored = builder.and_(shifted, constant(place.mask))
        values.append(builder.add(stored, constant(place.low)))
    return values
