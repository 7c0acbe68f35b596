"""A product's steps for exploring alone: the words of the states that they lead to, nothing else.

Who moved, what happened and what was met is made again where transitions are made. LLVM leaves out
whatever serves only that, and puts the rest into the kernel that explores.
"""

from __future__ import annotations

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import I64, FunctionFrame, RecordList, constant
from modecheck.product.bit_packing import WordLayout
from modecheck.product.ir import Product

FAILING_SHIFT = 32
"""In the result, how many failing steps there are stands above how many states are reached."""


class ReachedFrame(FunctionFrame):
    """Takes the place of the kernel `reached`, whose arguments it has."""

    NAME = "reached"

    def __init__(
        self,
        product: Product,
        layout: WordLayout,
        module: ir.Module,
        parameters: tuple[ir.Type, ...],
    ) -> None:
        self._types = parameters
        super().__init__(product, layout, module)

    def _parameters(self) -> tuple[ir.Type, ...]:
        return self._types

    def _begun(self) -> tuple[list[ir.Value], RecordList, RecordList]:
        *_, states, _, first, waiting, _, at, failed, _ = self.function.args
        builder, words = self.builder, []
        for number in range(self.layout.words):
            place = builder.gep(states, [builder.add(first, constant(number))])
            words.append(builder.converted(builder.load(place), I64, signed=False))
        made = self._address(builder.gep(waiting, [at]))
        failing = self._address(failed)
        return (
            words,
            RecordList(made, self._variable(made), self.layout.words),
            RecordList(failing, self._variable(failing), 1),
        )

    def _address(self, place: ir.Value) -> ir.Value:
        return self.builder.made(I64, f"ptrtoint {place.type.text} {place.name} to i64")

    def note_seen(self, number: ir.Value) -> None:
        """It is noted where transitions are made."""

    def emit(self, *, by_system: bool, once: bool = False) -> None:
        """Write the words of the state reached. Equal steps cannot be told from different ones, so
        a product that wants the former to count once (`compiled`) is not written this way.
        """
        assert not once
        super().emit(by_system=by_system)

    def nothing_written(self) -> ir.Value:
        builder = self.builder
        return builder.and_(self._made.are_none(builder), self._failed.are_none(builder))

    def _step_record(self, words: list[ir.Value], *_: ir.Value) -> list[ir.Value]:
        return words

    def _failure_record(self, label: ir.Value) -> list[ir.Value]:
        return [label]

    def finish(self) -> None:
        """End the function: how many states, and how many failing steps."""
        made, failing = (one.count(self.builder) for one in (self._made, self._failed))
        above = self.builder.shl(failing, constant(FAILING_SHIFT))
        self.builder.ret(self.builder.or_(made, above))
