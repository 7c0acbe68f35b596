"""Observers as machine code: each goes on at the end of a step, by a table.

Their code stands once behind all steps. A step notes where it goes on afterwards, and goes there.
"""

from __future__ import annotations

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.expressions import ProductExpressionCode, Reading
from modecheck.engine.native.frame import FALSE, I64, FunctionFrame, constant
from modecheck.engine.native.queues import condition_or_false
from modecheck.product.ir import ObserverAutomaton, Product

I16 = ir.Type("i16")
I32 = ir.Type("i32")


class ObserverCode:
    """Writes what observers do, at the builder's position."""

    def __init__(self, product: Product, frame: FunctionFrame, code: ProductExpressionCode) -> None:
        self._product = product
        self._frame = frame
        self._code = code
        self._tables = [
            self._table(number, observer) for number, observer in enumerate(product.observers)
        ]
        self._seen = [self._seen_from(number) for number in range(len(product.observers))]
        self._shared: ir.BasicBlock | None = None
        self._step: ir.Value | None = None
        self._onward: list[ir.BasicBlock] = []

    def _table(self, number: int, observer: ObserverAutomaton) -> ir.Value:
        return self._frame.function.module.table(f"watcher_{number}", I16, observer.table)

    def _seen_from(self, number: int) -> int:
        """The first of the bytes that tell which places of an observer's table were looked up."""
        places = range(len(self._product.observers[number].table))
        numbers = [self._frame.seen.number("watched", number, place) for place in places]
        return min(numbers)

    def go_on(self) -> None:
        """Every observer, judged on the state reached and on what happened in the step."""
        if not self._product.observers:
            return
        frame, builder = self._frame, self._frame.builder
        if self._shared is None or self._step is None:
            self._shared, self._step = frame.block("watch"), frame.variable()
        onward = frame.block("watched")
        builder.store(constant(len(self._onward)), self._step)
        self._onward.append(onward)
        builder.branch(self._shared)
        builder.position_at_end(onward)
        frame.touched.update(self._written)

    def write(self) -> None:
        """The code that all steps share, in blocks of its own: to be written when all steps are."""
        if self._shared is None or self._step is None:
            return
        frame, builder = self._frame, self._frame.builder
        with builder.goto_block(self._shared), frame.everything_touched():
            events = builder.load(frame.events)
            for number, observer in enumerate(self._product.observers):
                reading = Reading(frame.read, events, constant(0), lambda _: None)
                index = self._index(observer, reading)
                frame.note_seen(builder.add(constant(self._seen[number]), index))
                frame.write(observer.field, self._looked_up(number, index))
                if observer.count >= 0:
                    self._count_on(observer)
            choice = builder.switch(builder.load(self._step), self._onward[0])
            for number, onward in enumerate(self._onward[1:], start=1):
                choice.add_case(constant(number), onward)

    @property
    def _written(self) -> set[int]:
        """The fields of all observers."""
        observers = self._product.observers
        return {field for one in observers for field in (one.field, one.count) if field >= 0}

    def _count_on(self, observer: ObserverAutomaton) -> None:
        """The count falls back to 0 outside of the states in which it counts."""
        frame, builder = self._frame, self._frame.builder
        state, counts = frame.read(observer.field), FALSE
        for one in sorted(observer.counting):
            is_it = builder.icmp_signed("==", state, constant(one))
            counts = builder.or_(counts, is_it)
        kept = frame.read(observer.count)
        frame.write(observer.count, builder.select(counts, kept, constant(0)))

    def _index(self, observer: ObserverAutomaton, reading: Reading) -> ir.Value:
        frame, builder = self._frame, self._frame.builder
        atoms = observer.atoms
        index = builder.shl(frame.read(observer.field), constant(len(atoms)))
        for bit, atom in enumerate(atoms):
            holds = condition_or_false(frame, self._code, atom, reading)
            index = builder.or_(index, builder.shl(builder.zext(holds, I64), constant(bit)))
        return index

    def _looked_up(self, number: int, index: ir.Value) -> ir.Value:
        builder = self._frame.builder
        place = builder.gep(self._tables[number], [ir.Value(I32, "0"), index])
        return builder.zext(builder.load(place), I64)

    def choices(self) -> None:
        """Steps of observers alone: nobody else goes on."""
        frame, builder = self._frame, self._frame.builder
        for observer in self._product.observers:
            for source, target, label in observer.choices:
                with frame.step(label):
                    here = builder.icmp_signed("==", frame.read(observer.field), constant(source))
                    frame.unless(here, frame.step_end)
                    frame.write(observer.field, constant(target))
                    frame.emit(by_system=False)
