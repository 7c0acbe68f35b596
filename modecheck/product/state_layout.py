"""Pack a state, a vector of integers, into one integer of as few bits as its ranges need."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from modecheck.product.ir import Field

Pack = Callable[[Sequence[int]], int]
Unpack = Callable[[int], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each field lies: its value minus its lowest, from bit `shifts[i]` on.

    `unpack(pack(values)) == tuple(values)` for all values within their ranges, and different
    vectors have different packed forms.
    """

    shifts: tuple[int, ...]
    pack: Pack
    unpack: Unpack


def layout_of(fields: Sequence[Field]) -> Layout:
    """The fields one after the other, the first in the lowest bits.

    Both functions are compiled from a single expression each, since they run for every
    transition.
    """
    shifts, position = [], 0
    for field in fields:
        shifts.append(position)
        position += field.bits
    packing = [
        f"({_offset(f'v[{i}]', -field.low)} << {shift})"
        for i, (field, shift) in enumerate(zip(fields, shifts, strict=True))
        if field.bits
    ]
    unpacking = [
        _offset(f"(p >> {shift} & {(1 << field.bits) - 1})", field.low)
        if field.bits
        else f"{field.low}"
        for field, shift in zip(fields, shifts, strict=True)
    ]
    pack: Pack = eval(f"lambda v: {_joined(packing)}")  # noqa: S307 - only integers go in
    unpack: Unpack = eval(f"lambda p: ({''.join(f'{part}, ' for part in unpacking)})")  # noqa: S307
    return Layout(tuple(shifts), pack, unpack)


TOGETHER = 50
"""Parts of one expression: Python's compiler nests long chains and would run out of stack."""


def _joined(parts: list[str]) -> str:
    """All parts under `|`, in brackets of `TOGETHER`."""
    while len(parts) > 1:
        groups = [parts[n : n + TOGETHER] for n in range(0, len(parts), TOGETHER)]
        parts = [f"({' | '.join(group)})" for group in groups]
    return parts[0] if parts else "0"


def _offset(text: str, amount: int) -> str:
    return f"({text} + {amount})" if amount else text
