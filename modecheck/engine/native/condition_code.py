"""Functions that tell which conditions hold in a state, as machine code."""

from __future__ import annotations

from collections.abc import Iterable

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.expressions import ProductExpressionCode, Reading
from modecheck.engine.native.frame import I64, constant, unpacked
from modecheck.engine.native.queues import condition_or_false
from modecheck.product.bit_packing import WordLayout
from modecheck.product.expression_ir import Expression


class ConditionCode:
    """The function `NAME(state) -> bits`: one bit for each condition that holds. With `events`, it
    is `NAME(state, events) -> bits`, and conditions may ask for what happened.
    """

    def __init__(
        self, name: str, layout: WordLayout, module: ir.Module, *, events: bool = False
    ) -> None:
        arguments = (I64, I64) if events else (I64,)
        self.function = ir.Function(module, name, I64, arguments)
        self.builder = ir.Builder(self.function, self.function.append_basic_block("entry"))
        words = self.builder.inttoptr(self.function.args[0], I64.as_pointer())
        loaded = [
            self.builder.load(self.builder.gep(words, [constant(n)])) for n in range(layout.words)
        ]
        self._values = unpacked(self.builder, loaded, layout)
        self._events = self.function.args[1] if events else constant(0)

    def block(self, name: str) -> ir.BasicBlock:
        return self.function.append_basic_block(name)

    def write(self, conditions: Iterable[Expression]) -> None:
        """The whole function: bit `k` is condition `k`."""
        code = ProductExpressionCode(self.builder, self.function)
        reading = Reading(self._values.__getitem__, self._events, constant(0), lambda _: None)
        result = constant(0)
        for bit, expression in enumerate(conditions):
            holds = condition_or_false(self, code, expression, reading)
            mark = self.builder.select(holds, constant(1 << bit), constant(0))
            result = self.builder.or_(result, mark)
        self.builder.ret(result)
