"""Kernels, from restricted Python to LLVM's assembly.

A kernel is a function of integers, truth values, arrays and tuples of them. It may use `if`,
`while`, `for` over a range or an array, assignments also to several names, elements, rows and
parts of arrays, `min`, `max`, `len`, `range`, NumPy's integer types, constants of its module, other
kernels and intrinsics. It allocates nothing and calls nothing else. Unlike in Python

- an index is not looked at, and is not counted from the end unless it is a number in the text;
- a division by zero is not noticed, nor is a shift by more bits than there are;
- `and` and `or` give a truth value, and a chain of comparisons is computed to its end;
- a name has one kind in the whole function, so a function is written again from its beginning when
  what is assigned to a name turns out wider than what was assigned before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from modecheck.engine.language import assembly as ir
from modecheck.engine.language.intrinsics import Intrinsic
from modecheck.engine.language.kinds import U64, Kind
from modecheck.engine.language.operands import (
    WORD,
    Bundle,
    KernelError,
    Scalar,
    passed_types,
    returned,
)
from modecheck.engine.language.statement_code import StatementCode

ENTRY = "entry"
"""The name of what C can call."""

Writer = Callable[[ir.Module, tuple[ir.Type, ...]], ir.Function]
"""Writes a function of parameters of these types, which gives a word, into a module."""


@dataclass(frozen=True, slots=True)
class Translated:
    """A kernel in assembly, for arguments of some kinds, and the kind of its result."""

    function: ir.Function
    result: Kind


@dataclass(slots=True)
class Program:
    """Kernels that are compiled together, with all that they call. In place of some, others call
    what is written in assembly: so the code of a product becomes a part of a kernel.
    """

    module: ir.Module
    written: Mapping[Callable[..., Any], Writer] = field(default_factory=dict)
    intrinsics: dict[str, Intrinsic] = field(default_factory=dict)
    done: dict[tuple[Any, tuple[Kind, ...]], Translated | None] = field(default_factory=dict)
    for_gpu: bool = False

    def __str__(self) -> str:
        used = self.intrinsics.values()
        bodies = [one.gpu_definition if self.for_gpu else one.definition for one in used]
        return "\n".join([str(self.module), *bodies])

    def translated(self, function: Callable[..., Any], kinds: tuple[Kind, ...]) -> Translated:
        """A function for arguments of these kinds. Raises `KernelError`."""
        key = function, kinds
        if key not in self.done:
            self.done[key] = None
            if function in self.written:
                types = tuple([type_ for kind in kinds for type_ in passed_types(kind)])
                own = self.written[function](self.module, types)
                own.is_internal = True
                self.done[key] = Translated(own, U64)
                return self.translated(function, kinds)
            name = f"{function.__name__}.{len(self.done)}"
            code = StatementCode(self, function, kinds, name)
            result = code.written()
            self.done[key] = Translated(code.function, result)
        found = self.done[key]
        if found is None:
            where = function.__code__
            raise KernelError(where.co_filename, where.co_firstlineno, "a kernel calls itself")
        return found

    def entry(self, function: Callable[..., Any], kinds: tuple[Kind, ...]) -> Translated:
        """What C can call: an array is a pointer and its sizes, a tuple is its items; the numbers
        of the result are written, 64 bits each, to the address that comes last.
        """
        inner = self.translated(function, kinds)
        parameters = (*inner.function.parameters, WORD.as_pointer())
        outer = ir.Function(self.module, ENTRY, ir.Type("void"), parameters)
        code = ir.Builder(outer, outer.append_basic_block("begin"))
        *arguments, out = outer.args
        given = returned(code, inner.result, code.call(inner.function, arguments))
        for place, item in enumerate(given.items if isinstance(given, Bundle) else [given]):
            assert isinstance(item, Scalar)
            wide = code.converted(item.value, WORD, signed=item.kind.signed)
            code.store(wide, code.gep(out, [ir.Value(WORD, str(place))]))
        code.end("ret void")
        return Translated(outer, inner.result)
