"""Write LLVM's assembly as text: the few instructions that a product's code is made of.

The same builder as llvmlite's, as far as it goes here. That one keeps an object for each operand
and prints all of them at the end, which takes longer than all that LLVM does at its lowest level;
here an instruction is a line as soon as it is made.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

SIGNED = {"==": "eq", "!=": "ne", "<": "slt", "<=": "sle", ">": "sgt", ">=": "sge"}
UNSIGNED = {"==": "eq", "!=": "ne", "<": "ult", "<=": "ule", ">": "ugt", ">=": "uge"}


@dataclass(frozen=True, slots=True)
class Type:
    """A type as it is written. A pointer knows what it points to."""

    text: str
    pointee: Type | None = None

    def as_pointer(self) -> Type:
        """What points to this."""
        return Type(f"{self.text}*", self)


@dataclass(slots=True, eq=False)
class Value:
    """An operand: its type and its name, or a constant's digits."""

    type: Type
    name: str


@dataclass(slots=True, eq=False)
class Phi(Value):
    """A value by the block that was left last."""

    incoming: list[str] = field(default_factory=list)

    def add_incoming(self, value: Value, block: BasicBlock) -> None:
        """What it is when the block was left last."""
        self.incoming.append(f"[{value.name}, {block.label}]")

    def __str__(self) -> str:
        return f"  {self.name} = phi {self.type.text} {', '.join(self.incoming)}"


@dataclass(slots=True, eq=False)
class Switch:
    """Where to go on by a value."""

    value: Value
    otherwise: BasicBlock
    cases: list[str] = field(default_factory=list)

    def add_case(self, value: Value, block: BasicBlock) -> None:
        """Where to go on for a constant."""
        self.cases.append(f"{value.type.text} {value.name}, label {block.label}")

    def __str__(self) -> str:
        value = f"{self.value.type.text} {self.value.name}"
        cases = " ".join(self.cases)
        return f"  switch {value}, label {self.otherwise.label} [{cases}]"


@dataclass(slots=True, eq=False)
class BasicBlock:
    """Instructions up to `end`, which says where to go on."""

    name: str
    lines: list[str] = field(default_factory=list)
    phis: list[Phi] = field(default_factory=list)
    end: str | Switch | None = None

    @property
    def label(self) -> str:
        """The block as an operand."""
        return f"%{self.name}"

    @property
    def is_terminated(self) -> bool:
        """Whether it is said where to go on."""
        return self.end is not None


@dataclass(slots=True, eq=False)
class Module:
    """Tables and functions that are compiled together."""

    triple: str
    tables: list[str] = field(default_factory=list)
    functions: list[Function] = field(default_factory=list)
    data_layout: str = ""

    def table(self, name: str, kind: Type, values: Sequence[int]) -> Value:
        """A constant array that nobody outside sees."""
        array = Type(f"[{len(values)} x {kind.text}]", kind)
        inside = ", ".join(f"{kind.text} {value}" for value in values)
        self.tables.append(f"@{name} = internal constant {array.text} [{inside}]")
        return Value(Type(f"{array.text}*", array), f"@{name}")

    def __str__(self) -> str:
        heads = [f'target triple = "{self.triple}"']
        if self.data_layout:
            heads.insert(0, f'target datalayout = "{self.data_layout}"')
        return "\n".join([*heads, *self.tables, *map(str, self.functions), ""])


@dataclass(slots=True, eq=False)
class Function:
    """A function of a module, block by block; it gives `result`. One that others see may be called
    by a convention of its own, which stands before the type, with a blank behind it; `attributes`
    stand behind its parameters, with a blank before them.
    """

    module: Module
    name: str
    result: Type
    parameters: tuple[Type, ...]
    blocks: list[BasicBlock] = field(default_factory=list)
    values: int = 0
    is_internal: bool = False
    convention: str = ""
    attributes: str = ""

    def __post_init__(self) -> None:
        self.module.functions.append(self)

    @property
    def args(self) -> list[Value]:
        """The arguments, in order."""
        return [Value(kind, f"%a{number}") for number, kind in enumerate(self.parameters)]

    def append_basic_block(self, name: str) -> BasicBlock:
        """A new block, whose name is made unique."""
        block = BasicBlock(f"{name}.{len(self.blocks)}")
        self.blocks.append(block)
        return block

    def __str__(self) -> str:
        arguments = ", ".join(f"{one.type.text} {one.name}" for one in self.args)
        linkage = "internal " if self.is_internal else self.convention
        head = f"define {linkage}{self.result.text} @{self.name}({arguments}){self.attributes}"
        lines = [head, "{"]
        for block in self.blocks:
            lines += [f"{block.name}:", *map(str, block.phis), *block.lines, str(block.end)]
        return "\n".join([*lines, "}"])


class Builder:
    """Writes instructions at the end of a block; if that says where to go on, before that."""

    def __init__(self, function: Function, block: BasicBlock) -> None:
        self._function = function
        self.block = block

    def made(self, kind: Type, text: str) -> Value:
        """What an instruction gives."""
        self._function.values += 1
        name = f"%v{self._function.values}"
        self.block.lines.append(f"  {name} = {text}")
        return Value(kind, name)

    def position_at_end(self, block: BasicBlock) -> None:
        """Go on in a block."""
        self.block = block

    @contextmanager
    def goto_block(self, block: BasicBlock) -> Iterator[None]:
        """What is inside is written into a block."""
        before, self.block = self.block, block
        yield
        self.block = before

    def of_two(self, operation: str, one: Value, two: Value) -> Value:
        """An operation on two values of one type, by LLVM's name for it."""
        return self.made(one.type, f"{operation} {one.type.text} {one.name}, {two.name}")

    def add(self, one: Value, two: Value) -> Value:
        return self.of_two("add", one, two)

    def sub(self, one: Value, two: Value) -> Value:
        return self.of_two("sub", one, two)

    def mul(self, one: Value, two: Value) -> Value:
        return self.of_two("mul", one, two)

    def udiv(self, one: Value, two: Value) -> Value:
        return self.of_two("udiv", one, two)

    def and_(self, one: Value, two: Value) -> Value:
        return self.of_two("and", one, two)

    def or_(self, one: Value, two: Value) -> Value:
        return self.of_two("or", one, two)

    def xor(self, one: Value, two: Value) -> Value:
        return self.of_two("xor", one, two)

    def shl(self, one: Value, two: Value) -> Value:
        return self.of_two("shl", one, two)

    def lshr(self, one: Value, two: Value) -> Value:
        return self.of_two("lshr", one, two)

    def neg(self, value: Value) -> Value:
        return self.made(value.type, f"sub {value.type.text} 0, {value.name}")

    def not_(self, value: Value) -> Value:
        return self.made(value.type, f"xor {value.type.text} {value.name}, -1")

    def zext(self, value: Value, kind: Type) -> Value:
        return self.made(kind, f"zext {value.type.text} {value.name} to {kind.text}")

    def converted(self, value: Value, kind: Type, *, signed: bool) -> Value:
        """A whole number with more bits, filled up by its sign or by zeros, or with less."""
        have, want = int(value.type.text[1:]), int(kind.text[1:])
        if have == want:
            return value
        how = "trunc" if have > want else "sext" if signed else "zext"
        return self.made(kind, f"{how} {value.type.text} {value.name} to {kind.text}")

    def extracted(self, value: Value, kind: Type, place: int) -> Value:
        """A part of a structure."""
        return self.made(kind, f"extractvalue {value.type.text} {value.name}, {place}")

    def inserted(self, value: Value, part: Value, place: int) -> Value:
        """A structure with another part."""
        operands = f"{value.type.text} {value.name}, {part.type.text} {part.name}"
        return self.made(value.type, f"insertvalue {operands}, {place}")

    def inttoptr(self, value: Value, kind: Type) -> Value:
        return self.made(kind, f"inttoptr {value.type.text} {value.name} to {kind.text}")

    def icmp_signed(self, comparison: str, one: Value, two: Value) -> Value:
        """A comparison of signed numbers, as Python writes it."""
        return self._compared(SIGNED[comparison], one, two)

    def icmp_unsigned(self, comparison: str, one: Value, two: Value) -> Value:
        """A comparison of unsigned numbers."""
        return self._compared(UNSIGNED[comparison], one, two)

    def _compared(self, how: str, one: Value, two: Value) -> Value:
        return self.made(BIT, f"icmp {how} {one.type.text} {one.name}, {two.name}")

    def select(self, condition: Value, one: Value, two: Value) -> Value:
        """The one if the condition holds, else the other."""
        kind = one.type.text
        text = f"select i1 {condition.name}, {kind} {one.name}, {kind} {two.name}"
        return self.made(one.type, text)

    def phi(self, kind: Type) -> Phi:
        """A value that depends on where the block was come to from."""
        self._function.values += 1
        phi = Phi(kind, f"%v{self._function.values}")
        self.block.phis.append(phi)
        return phi

    def alloca(self, kind: Type) -> Value:
        """Room for a value on the stack."""
        return self.made(kind.as_pointer(), f"alloca {kind.text}")

    def load(self, place: Value) -> Value:
        assert place.type.pointee is not None
        kind = place.type.pointee
        return self.made(kind, f"load {kind.text}, {place.type.text} {place.name}")

    def store(self, value: Value, place: Value) -> None:
        operands = f"{value.type.text} {value.name}, {place.type.text} {place.name}"
        self.block.lines.append(f"  store {operands}")

    def gep(self, place: Value, indices: Sequence[Value]) -> Value:
        """An address: so many items on; of an array, first 0 and then the item's number."""
        assert place.type.pointee is not None
        kind = inside = place.type.pointee
        for _ in indices[1:]:
            assert inside.pointee is not None
            inside = inside.pointee
        steps = ", ".join(f"{index.type.text} {index.name}" for index in indices)
        text = f"getelementptr {kind.text}, {place.type.text} {place.name}, {steps}"
        return self.made(inside.as_pointer(), text)

    def call(self, function: Function, arguments: Sequence[Value]) -> Value:
        return self.call_named(function.name, function.result, arguments)

    def call_named(self, name: str, result: Type, arguments: Sequence[Value]) -> Value:
        """A call of what the module defines somewhere; of nothing, if that gives nothing."""
        given = ", ".join(f"{one.type.text} {one.name}" for one in arguments)
        text = f"call {result.text} @{name}({given})"
        if result.text != "void":
            return self.made(result, text)
        self.block.lines.append(f"  {text}")
        return Value(result, "")

    def branch(self, block: BasicBlock) -> None:
        """Go on in a block."""
        self.block.end = f"  br label {block.label}"

    def cbranch(self, condition: Value, yes: BasicBlock, no: BasicBlock) -> None:
        """Go on in one of two blocks."""
        self.block.end = f"  br i1 {condition.name}, label {yes.label}, label {no.label}"

    def switch(self, value: Value, otherwise: BasicBlock) -> Switch:
        """Go on in one of several blocks."""
        found = Switch(value, otherwise)
        self.block.end = found
        return found

    def ret(self, value: Value) -> None:
        """Give a result, and end the function."""
        self.end(f"ret {value.type.text} {value.name}")

    def end(self, instruction: str) -> None:
        """End the block with an instruction that has no other way to be written."""
        self.block.end = f"  {instruction}"


BIT = Type("i1")
"""The type of a condition."""
