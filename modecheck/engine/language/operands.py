"""What expressions of a kernel give while it is translated: numbers, arrays, several values."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.engine.language import assembly as ir
from modecheck.engine.language.kinds import (
    BOOL,
    I64,
    U64,
    Array,
    GroupKind,
    Kind,
    NumberKind,
)

WORD = ir.Type("i64")
"""The type of addresses and sizes."""


class NotInLanguage(Exception):
    """Something that kernels cannot say; the sentence tells why."""


class KernelError(Exception):
    """What a kernel says, and cannot, with its place."""

    def __init__(self, file: str, line: int, message: str) -> None:
        super().__init__(file, line, message)
        self.file = file
        self.line = line
        self.message = message

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.message}"


@dataclass(frozen=True, slots=True)
class Scalar:
    """A number; `literal` is its value where it stands in the text, and may become any kind."""

    kind: NumberKind
    value: ir.Value
    literal: int | None = None


@dataclass(frozen=True, slots=True)
class View:
    """An array: where it begins, and how many elements it has along each index."""

    kind: Array
    pointer: ir.Value
    sizes: tuple[ir.Value, ...]


@dataclass(frozen=True, slots=True)
class Bundle:
    """Several values."""

    kind: GroupKind
    items: tuple[Operand, ...]


@dataclass(frozen=True, slots=True)
class Element:
    """A place in an array, to be read or written."""

    kind: NumberKind
    pointer: ir.Value


Operand = Scalar | View | Bundle


def constant(kind: NumberKind, value: int) -> ir.Value:
    """A number as LLVM reads it: signed, and of so many bits."""
    if kind == BOOL:
        return ir.Value(kind.type, "true" if value else "false")
    bits = value & (1 << kind.bits) - 1
    signed = bits - (1 << kind.bits) if bits >> kind.bits - 1 else bits
    return ir.Value(kind.type, str(signed))


def literal(value: int) -> Scalar:
    """A number of the text."""
    return Scalar(I64 if I64.holds(value) else U64, constant(I64, value), value)


def adapts(given: Operand, kind: Kind) -> bool:
    """Whether a literal, or each in a tuple, can be of a kind; the rest must be already."""
    if isinstance(given, Scalar):
        number = given.literal
        can_be = isinstance(kind, NumberKind) and kind != BOOL
        return number is not None and can_be and isinstance(kind, NumberKind) and kind.holds(number)
    if isinstance(given, Bundle) and isinstance(kind, GroupKind):
        pairs = list(zip(given.items, kind.items, strict=False))
        fits = all(item.kind == one or adapts(item, one) for item, one in pairs)
        return len(given.items) == len(kind.items) and fits
    return False


def scalar(given: Operand) -> Scalar:
    """A number. Raises `NotInLanguage` for anything else, as the others here do."""
    if not isinstance(given, Scalar):
        raise NotInLanguage(f"a number is needed here, not {given.kind}")
    return given


def view(given: Operand) -> View:
    """An array."""
    if not isinstance(given, View):
        raise NotInLanguage(f"an array is needed here, not {given.kind}")
    return given


def argument(kind: Kind, given: Iterator[ir.Value]) -> Operand:
    """An argument, put together of what is passed."""
    if isinstance(kind, NumberKind):
        return Scalar(kind, next(given))
    if isinstance(kind, Array):
        return View(kind, next(given), tuple([next(given) for _ in range(kind.dimensions)]))
    return Bundle(kind, tuple([argument(item, given) for item in kind.items]))


def passed(given: Operand) -> Iterator[ir.Value]:
    """An argument, as it is passed."""
    if isinstance(given, Scalar):
        yield given.value
    elif isinstance(given, View):
        yield from (given.pointer, *given.sizes)
    else:
        for item in given.items:
            yield from passed(item)


def passed_types(kind: Kind) -> Iterator[ir.Type]:
    """What an argument of a kind is passed as."""
    if isinstance(kind, NumberKind):
        yield kind.type
    elif isinstance(kind, Array):
        yield kind.element.stored.as_pointer()
        yield from [WORD] * kind.dimensions
    else:
        for item in kind.items:
            yield from passed_types(item)


def numbers_in(kind: Kind) -> list[NumberKind]:
    """The kinds of a result: of one number, several or none."""
    items = kind.items if isinstance(kind, GroupKind) else (kind,)
    numbers = [item for item in items if isinstance(item, NumberKind)]
    if len(numbers) < len(items):
        raise NotInLanguage(f"a kernel returns numbers, not {kind}")
    return numbers


def result_type(kind: Kind) -> ir.Type:
    """What a call gives: a number, or several as a structure."""
    numbers = numbers_in(kind)
    if isinstance(kind, NumberKind):
        return kind.type
    return ir.Type(f"{{ {', '.join(one.type.text for one in numbers)} }}" if numbers else "void")


def returned(code: ir.Builder, kind: Kind, given: ir.Value) -> Operand:
    """What a call has given."""
    if isinstance(kind, NumberKind):
        return Scalar(kind, given)
    assert isinstance(kind, GroupKind)
    items = [
        Scalar(item, code.extracted(given, item.type, place))
        for place, item in enumerate(numbers_in(kind))
    ]
    return Bundle(kind, tuple(items))
