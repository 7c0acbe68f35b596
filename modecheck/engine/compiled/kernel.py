"""Functions that numba compiles once for each user, and that are called without numba afterwards.

Numba takes longer to load than a product of a hundred thousand states takes to explore. So what it
makes of a function and of the types it is called with is kept on disk as object code, under a hash
of all that it depends on, and is called as numba itself would: an array is passed as its parts, a
tuple as its elements, and what is returned is written to an address (see "Notes on Numba's
calling convention" in numba's documentation for contributors).
"""

from __future__ import annotations

import ctypes
import hashlib
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import llvmlite
import llvmlite.binding as llvm
import numpy as np

from modecheck.engine.compiled import object_cache
from modecheck.engine.compiled.linking import linked, target_machine
from modecheck.engine.kept_files import kernels_folder

MOST_ENTRIES = 500
"""The oldest entries beyond this are removed; one is some ten kilobytes."""
OPTIMISATION = 3

_SCALARS = {
    "|b1": ctypes.c_uint8,
    "|u1": ctypes.c_uint8,
    "<u2": ctypes.c_uint16,
    "<u4": ctypes.c_uint32,
    "<u8": ctypes.c_uint64,
    "|i1": ctypes.c_int8,
    "<i2": ctypes.c_int16,
    "<i4": ctypes.c_int32,
    "<i8": ctypes.c_int64,
}
_making = threading.RLock()

Kind = tuple[Any, ...] | str
"""Of an argument: the type of a number; or type, dimensions, whether its elements are contiguous
and whether they can be written, of an array; or the name of a tuple's class, and its elements.
"""


@dataclass(frozen=True, slots=True)
class Made:
    """Object code of a function: its name there, and the types that it returns, several for a
    tuple; None for nothing.
    """

    code: bytes
    name: str
    returns: str | list[str] | None


class Intrinsic:
    """What numba cannot say in Python, told to it when it is loaded: `builder` is what numba wants
    of an intrinsic.
    """

    def __init__(self, builder: Callable[..., Any]) -> None:
        self.function = builder
        self.__doc__ = builder.__doc__

    def __call__(self, *_: Any) -> Any:
        """Never done: kernels name it, and numba puts in what was built."""
        raise TypeError("only kernels call it")


class Kernel:
    """A function of integers, truth values, arrays, and tuples of them. It allocates nothing, and
    does not count who holds its arrays: each call within it would do so with atomic instructions,
    which together take longer than all the rest where little is done with each state.

    Raises `RuntimeError` when it fails, as in a division by zero: kernels are written not to.
    """

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self.__doc__ = function.__doc__
        self.__name__ = function.__name__
        self._ready: dict[Kind, Callable[[Sequence[Any]], Any]] = {}

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        if named:
            code = self.function.__code__
            names = code.co_varnames[len(arguments) : code.co_argcount]
            arguments = (*arguments, *[named[name] for name in names])
        kind = tuple([kind_of(one) for one in arguments])
        ready = self._ready.get(kind)
        if ready is None:
            with _making:
                ready = self._ready.get(kind) or self._made(kind, arguments)
                self._ready[kind] = ready
        return ready(arguments)

    def _made(self, kind: Kind, arguments: Sequence[Any]) -> Callable[[Sequence[Any]], Any]:
        key, folder = _key(self, kind), kernels_folder()
        kept = object_cache.load(key, folder)
        if kept is not None:
            return _Callable(Made(kept[0], **kept[1]), kind)
        from modecheck.engine.compiled.kernel_making import make

        made, instead = make(self, arguments)
        if made is None:
            return lambda some: instead(*some)
        notes = {"name": made.name, "returns": made.returns}
        object_cache.store(key, made.code, notes, folder, most=MOST_ENTRIES)
        return _Callable(made, kind)


class _Callable:
    """Code that is linked, and how it wants its arguments."""

    def __init__(self, made: Made, kind: Kind) -> None:
        self._engine = linked(made.code, target_machine(OPTIMISATION))
        self._returns = _return_type(made.returns)
        self._value = _value_of(made.returns)
        prototype = ctypes.CFUNCTYPE(
            ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, *_argument_types(kind)
        )
        self._function = prototype(self._engine.get_function_address(made.name))

    def __call__(self, arguments: Sequence[Any]) -> Any:
        flat: list[Any] = []
        for one in arguments:
            _flatten(one, flat)
        result, error = self._returns(), ctypes.c_void_p()
        status = self._function(ctypes.byref(result), ctypes.byref(error), *flat)
        if status != 0:
            raise RuntimeError(f"a kernel ended with status {status}, which is a fault of ours")
        return self._value(result)


def kind_of(value: Any) -> Kind:
    """What kernels are compiled for."""
    if isinstance(value, np.ndarray):
        flags = value.flags
        return value.dtype.str, value.ndim, flags.c_contiguous, flags.writeable
    if isinstance(value, tuple):
        return (type(value).__name__, *[kind_of(one) for one in value])
    if isinstance(value, np.generic):
        return value.dtype.str
    if isinstance(value, bool):
        return "|b1"
    return "<u8" if value.bit_length() > 63 else "<i8"


def _flatten(value: Any, into: list[Any]) -> None:
    """An argument as what is passed."""
    if isinstance(value, np.ndarray):
        into += (None, None, value.size, value.itemsize, value.ctypes.data)
        into += value.shape
        into += value.strides
    elif isinstance(value, tuple):
        for one in value:
            _flatten(one, into)
    else:
        into.append(value)


def _argument_types(kind: Kind) -> Iterator[Any]:
    """The types of what is passed for arguments of a kind."""
    for one in kind:
        if isinstance(one, str):
            yield _SCALARS[one]
        elif len(one) == 4 and isinstance(one[1], int):
            yield from (ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64, ctypes.c_int64)
            yield ctypes.c_void_p
            yield from [ctypes.c_int64] * (2 * one[1])
        else:
            yield from _argument_types(one[1:])


def _return_type(returns: str | list[str] | None) -> Any:
    if returns is None:
        return ctypes.c_void_p
    if isinstance(returns, str):
        return _SCALARS[returns]
    parts = [(f"part_{n}", _SCALARS[one]) for n, one in enumerate(returns)]
    return type("Returned", (ctypes.Structure,), {"_fields_": parts})


def _value_of(returns: str | list[str] | None) -> Callable[[Any], Any]:
    if returns is None:
        return lambda _: None
    if isinstance(returns, list):
        names = [f"part_{n}" for n in range(len(returns))]
        return lambda result: tuple([getattr(result, name) for name in names])
    if returns == "|b1":
        return lambda result: bool(result.value)
    return lambda result: result.value


def _key(kernel: Kernel, kind: Kind) -> str:
    """A hash of whatever the code depends on."""
    return hashlib.sha256(repr((_surroundings(), _digest(kernel), kind)).encode()).hexdigest()


@cache
def _surroundings() -> str:
    """What compiles, and what for."""
    numba = find_spec("numba")
    version = Path(numba.origin).with_name("_version.py") if numba and numba.origin else None
    return repr((
        sys.version, llvmlite.__version__, version and version.read_bytes(),
        llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten(),
    ))  # fmt: skip


@cache
def _digest(value: Any) -> str:
    """A hash of a function, or of that of a kernel or intrinsic, and of all that it uses."""
    if isinstance(value, Kernel | Intrinsic):
        return _digest(value.function)
    facts = [*_facts_of(value.__code__)]
    for name, used in used_by(value).items():
        if isinstance(used, Kernel | Intrinsic | FunctionType):
            facts.append(f"{name} {_digest(used)}")
        elif isinstance(used, ModuleType | type):
            facts.append(f"{name} {used.__name__} {getattr(used, '_fields', '')}")
        else:
            facts.append(f"{name} {type(used).__name__} {used}")
    return hashlib.sha256("\0".join(facts).encode()).hexdigest()


def _facts_of(code: CodeType) -> Iterator[str]:
    """What a function does, wherever it stands, whatever is said about it."""
    yield repr((code.co_code, code.co_names, code.co_varnames, code.co_argcount))
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _facts_of(constant)
        elif not isinstance(constant, str):
            yield repr(constant)


def used_by(function: Any) -> dict[str, Any]:
    """What a function uses of its module, by name."""
    names = _names_in(function.__code__)
    return {name: function.__globals__[name] for name in names if name in function.__globals__}


def _names_in(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _names_in(constant)
