"""A product's own code in place of kernels: the states that one leads to, all steps with their
records, and which conditions hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from modecheck.engine.gpu.kernel_code import GpuKernel
from modecheck.engine.gpu.looking_kernels import stepped
from modecheck.engine.language import assembly as ir
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.language.program import Writer
from modecheck.engine.native.condition_code import ConditionCode
from modecheck.engine.native.frame import (
    BYTES_OF_A_WORD,
    I8,
    I64,
    RECORD_EXTRA,
    FunctionFrame,
    RecordList,
    constant,
)
from modecheck.engine.native.machine import CompiledProduct, product_key
from modecheck.engine.native.reached_code import ReachedFrame
from modecheck.engine.native.steps import StepCode
from modecheck.engine.reference.system_actions import system_actions
from modecheck.product.bit_packing import WordLayout
from modecheck.product.ir import Product

Parameters = tuple[ir.Type, ...]


class CountedList(RecordList):
    """Records that are only counted: their place moves on, and nothing is written."""

    def append(self, builder: ir.Builder, _: Sequence[ir.Value]) -> None:
        onward = builder.add(builder.load(self.position), self.size)
        builder.store(onward, self.position)


@dataclass(frozen=True, slots=True)
class ListInArray(RecordList):
    """Records in an array of a thread's own. Its place is counted in words: so it is known whose
    memory is written to, and that is the thread's.
    """

    array: ir.Value

    @property
    def size(self) -> ir.Value:
        return constant(self.words)

    def append(self, builder: ir.Builder, values: Sequence[ir.Value]) -> None:
        position = builder.load(self.position)
        for number, value in enumerate(values):
            place = builder.add(position, constant(number))
            builder.store(value, builder.gep(self.array, [place]))
        builder.store(builder.add(position, self.size), self.position)

    def value_at(self, builder: ir.Builder, place: ir.Value, number: int) -> ir.Value:
        at = builder.add(place, constant(number))
        return builder.load(builder.gep(self.array, [at]))


class _OnGpu(FunctionFrame):
    """What both frames have in common: the state stands in an array, from a place on."""

    def _address(self, place: ir.Value) -> ir.Value:
        return self.builder.made(I64, f"ptrtoint {place.type.text} {place.name} to i64")

    def _state(self, states: ir.Value, first: ir.Value) -> list[ir.Value]:
        places = [
            self.builder.gep(states, [self.builder.add(first, constant(number))])
            for number in range(self.layout.words)
        ]
        return [self.builder.load(place) for place in places]


class ReachedOnGpu(_OnGpu, ReachedFrame):
    """Takes the place of `reached_from`. Equal steps are written as often as there are."""

    NAME = "reached_from"

    def _begun(self) -> tuple[list[ir.Value], RecordList, RecordList]:
        states, _, first, waiting, _ = self.function.args
        nothing = constant(0)
        return (
            self._state(states, first),
            ListInArray(nothing, self._variable(nothing), self.layout.words, waiting),
            CountedList(nothing, self._variable(nothing), 1),
        )

    def emit(self, *, by_system: bool, once: bool = False) -> None:  # noqa: ARG002 - see above
        super().emit(by_system=by_system)

    def _unless_written(self, *_: object) -> None:
        """What is written twice leads to one state."""

    def finish(self) -> None:
        """End the function: how many states."""
        self.builder.ret(self._made.count(self.builder))


class SteppedOnGpu(_OnGpu):
    """Takes the place of `stepped`."""

    NAME = "stepped"

    def __init__(
        self, product: Product, layout: WordLayout, module: ir.Module, parameters: Parameters
    ) -> None:
        self._types = parameters
        super().__init__(product, layout, module)

    def _parameters(self) -> Parameters:
        return self._types

    def _begun(self) -> tuple[list[ir.Value], RecordList, RecordList]:
        states, _, first, records, _, seen, _ = self.function.args
        self._seen_at, nothing = self._address(seen), constant(0)
        words = self.layout.words + RECORD_EXTRA
        both = ListInArray(nothing, self._variable(nothing), words, records)
        return self._state(states, first), both, both

    def note_seen(self, number: ir.Value) -> None:
        """Set a byte, unless it is known to be set: all threads write to the same few bytes."""
        address = self.builder.add(self._seen_at, number)
        place = self.builder.inttoptr(address, I8.as_pointer())
        is_new = self.builder.icmp_signed("==", self.builder.load(place), ir.Value(I8, "0"))
        with self.only_if(is_new):
            self.builder.store(ir.Value(I8, "1"), place)


def _inside(function: ir.Function) -> ir.Function:
    """A function that becomes a part of what calls it, however long it is: so it is known whose
    memory its records go to.
    """
    function.attributes = " alwaysinline"
    return function


def code_of(
    machine: CompiledProduct,
    kernel: Kernel,
    local: Mapping[str, int],
    written: Mapping[Kernel, Writer],
    curious: frozenset[int] = frozenset(),
) -> GpuKernel:
    """A kernel with code of the product inside."""
    key = product_key(machine.product, system_actions(machine.product), curious)
    return GpuKernel(kernel, machine.layout.words, local, written, key)


def code_of_steps(
    machine: CompiledProduct, kernel: Kernel, curious: frozenset[int] = frozenset()
) -> GpuKernel:
    """A kernel with the code of all steps inside, and room for the records of a state."""
    room = machine.most_records * (machine.layout.words + RECORD_EXTRA)
    steps = {stepped: write_stepped(machine, curious)}
    return code_of(machine, kernel, {"records": room}, steps, curious)


def write_reached(machine: CompiledProduct) -> Writer:
    """What writes the code in place of `reached_from`."""
    product, layout = machine.product, machine.layout

    def write(module: ir.Module, parameters: Parameters) -> ir.Function:
        frame = ReachedOnGpu(product, layout, module, parameters)
        StepCode(product, frame, system_actions(product), frozenset()).write()
        return _inside(frame.function)

    return write


def write_stepped(machine: CompiledProduct, curious: frozenset[int] = frozenset()) -> Writer:
    """What writes the code in place of `stepped`; for rules in `curious` it looks which earlier
    rule was taken although their own guard held.
    """
    product, layout = machine.product, machine.layout

    def write(module: ir.Module, parameters: Parameters) -> ir.Function:
        frame = SteppedOnGpu(product, layout, module, parameters)
        StepCode(product, frame, system_actions(product), curious).write()
        return _inside(frame.function)

    return write


def write_marked(machine: CompiledProduct) -> Writer:
    """What writes the code in place of `marked`."""
    product, layout = machine.product, machine.layout

    def write(module: ir.Module, parameters: Parameters) -> ir.Function:
        code = ConditionCode("marks", layout, module)
        code.write(product.conditions.values())
        code.function.is_internal = True
        outer = ir.Function(module, "marked", I64, parameters)
        builder = ir.Builder(outer, outer.append_basic_block("entry"))
        states, _, first = outer.args
        at = builder.made(I64, f"ptrtoint {states.type.text} {states.name} to i64")
        offset = builder.mul(first, constant(BYTES_OF_A_WORD))
        builder.ret(builder.call(code.function, [builder.add(at, offset)]))
        return _inside(outer)

    return write
