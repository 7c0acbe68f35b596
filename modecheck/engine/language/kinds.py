"""What the values of kernels are, and what two kinds of them have in common.

Numbers follow NumPy 2: two of one kind give that kind and wrap around; a literal takes the kind of
what it stands beside; a signed and an unsigned number give a signed one that holds both. Where
none does, as for 64 bits, a kernel has to say what it means.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from modecheck.engine.language.assembly import Type

POINTER_BITS = 64
BYTE = 8


@dataclass(frozen=True, slots=True)
class NumberKind:
    """An integer; a truth value has one bit."""

    bits: int
    signed: bool = False

    def __str__(self) -> str:
        return "bool" if self.bits == 1 else f"{'' if self.signed else 'u'}int{self.bits}"

    @property
    def type(self) -> Type:
        """What it is in a register."""
        return Type(f"i{self.bits}")

    @property
    def stored(self) -> Type:
        """What it is in an array, where a truth value takes a byte."""
        return Type(f"i{max(self.bits, BYTE)}")

    def holds(self, value: int) -> bool:
        """Whether it can be this value."""
        low = -(1 << self.bits - 1) if self.signed else 0
        return low <= value < low + (1 << self.bits)


@dataclass(frozen=True, slots=True)
class Array:
    """Elements one after the other, the last index running fastest."""

    element: NumberKind
    dimensions: int

    def __str__(self) -> str:
        return f"array of {self.element} with {self.dimensions} dimensions"


@dataclass(frozen=True, slots=True)
class GroupKind:
    """Several values, which may have names; without any it is nothing."""

    items: tuple[Kind, ...] = ()
    names: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"({', '.join(map(str, self.items))})"


Kind = NumberKind | Array | GroupKind

BOOL = NumberKind(1)
I64 = NumberKind(64, signed=True)
U64 = NumberKind(64)
NOTHING = GroupKind()


def number_kind(dtype: Any) -> NumberKind:
    """The kind of a NumPy type. Raises `TypeError` for what is no integer."""
    kind = np.dtype(dtype)
    if kind.kind == "b":
        return BOOL
    if kind.kind not in "iu" or not kind.isnative:
        raise TypeError(f"kernels know integers, no {kind}")
    return NumberKind(8 * kind.itemsize, signed=kind.kind == "i")


def kind_of(value: Any) -> Kind:
    """The kind of an argument. Raises `TypeError` for what kernels do not know."""
    if isinstance(value, np.ndarray):
        if not value.flags.c_contiguous:
            raise TypeError("the elements of an array must stand one after the other")
        return Array(number_kind(value.dtype), value.ndim)
    if isinstance(value, tuple):
        return GroupKind(tuple([kind_of(one) for one in value]), getattr(value, "_fields", ()))
    if isinstance(value, np.generic):
        return number_kind(value.dtype)
    if isinstance(value, bool):
        return BOOL
    if isinstance(value, int):
        return I64 if I64.holds(value) else U64
    raise TypeError(f"kernels take integers, arrays and tuples, no {type(value).__name__}")


def common(one: Kind, other: Kind) -> Kind | None:
    """The kind that holds values of both; None where there is none."""
    if one == other:
        return one
    if isinstance(one, NumberKind) and isinstance(other, NumberKind):
        return _common_number(one, other)
    if (
        isinstance(one, GroupKind)
        and isinstance(other, GroupKind)
        and len(one.items) == len(other.items)
    ):
        items = [
            common(first, second) for first, second in zip(one.items, other.items, strict=True)
        ]
        kinds = [item for item in items if item is not None]
        return GroupKind(tuple(kinds), one.names) if len(kinds) == len(items) else None
    return None


def _common_number(one: NumberKind, other: NumberKind) -> NumberKind | None:
    if BOOL in (one, other):
        return other if one == BOOL else one
    if one.signed == other.signed:
        return max(one, other, key=lambda kind: kind.bits)
    signed, unsigned = (one, other) if one.signed else (other, one)
    bits = max(signed.bits, 2 * unsigned.bits)
    return NumberKind(bits, signed=True) if bits <= POINTER_BITS else None
