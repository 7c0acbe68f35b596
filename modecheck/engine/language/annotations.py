"""How kernels say what their arguments are.

`int` is a signed number of 64 bits, `bool` a truth value, a class of NumPy's a number of that kind.
`U64s` is an array of one dimension, `U64Rows` of two. A class derived from `NamedTuple` is a tuple.
An argument that says anything else, such as a tuple of any length, has the kind that it is given.
These names, and `np`, need be imported for types alone.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

import numpy as np

from modecheck.engine.language.kinds import BOOL, I64, Array, GroupKind, Kind, number_kind

T = TypeVar("T", bound=np.generic)

Vector = np.ndarray[tuple[int], np.dtype[T]]
Matrix = np.ndarray[tuple[int, int], np.dtype[T]]

U8s = Vector[np.uint8]
U16s = Vector[np.uint16]
U32s = Vector[np.uint32]
U64s = Vector[np.uint64]
I32s = Vector[np.int32]
I64s = Vector[np.int64]
U16Rows = Matrix[np.uint16]
U64Rows = Matrix[np.uint64]
I64Rows = Matrix[np.int64]


@cache
def declared_kinds(function: Callable[..., Any]) -> tuple[Kind | None, ...]:
    """What each argument of a kernel must be; None where that is left open."""
    code, hints = function.__code__, get_type_hints(function, localns=globals())
    return tuple([_kind(hints.get(name)) for name in code.co_varnames[: code.co_argcount]])


def _kind(hint: Any) -> Kind | None:
    if hint in (int, bool):
        return I64 if hint is int else BOOL
    if get_origin(hint) is np.ndarray:
        shape, dtype = get_args(hint)
        return Array(number_kind(get_args(dtype)[0]), len(get_args(shape)))
    if isinstance(hint, type) and issubclass(hint, np.generic):
        return number_kind(hint)
    fields = getattr(hint, "_fields", ())
    items = [_kind(one) for one in get_type_hints(hint).values()] if fields else []
    known = [item for item in items if item is not None]
    return GroupKind(tuple(known), fields) if fields and len(known) == len(items) else None
