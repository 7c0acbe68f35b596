"""Machine code of kernels: compiled once for each user, then linked and called.

What LLVM makes of a function and of the kinds of its arguments is kept on disk as object code,
under a hash of all that it depends on. It is called as C would call it (`program.py`): an array
is a pointer and its sizes, a tuple is its items, and results are written to an address.
"""

from __future__ import annotations

import ctypes
import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import TYPE_CHECKING, Any

import llvmlite.binding as llvm
import numpy as np

from modecheck.engine.contract.kept_files import kernels_folder
from modecheck.engine.contract.phases import phase
from modecheck.engine.language import object_cache
from modecheck.engine.language.annotations import declared_kinds
from modecheck.engine.language.intrinsics import Intrinsic
from modecheck.engine.language.kinds import (
    BOOL,
    Array,
    GroupKind,
    Kind,
    NumberKind,
    kind_of,
)
from modecheck.engine.language.linking import linked, target_machine
from modecheck.engine.language.operands import KernelError

if TYPE_CHECKING:
    from modecheck.engine.language.program import Writer

MOST_ENTRIES = 500
"""The oldest entries beyond this are removed; one is some ten kilobytes."""
OPTIMISATION = 3

Function = Callable[..., Any]


def kinds_of(function: Function, arguments: Sequence[Any]) -> tuple[Kind, ...]:
    """The kinds of arguments, those that are declared looked at. Raises `TypeError`."""
    declared = declared_kinds(function)
    if len(declared) != len(arguments):
        raise TypeError(f"{function.__name__} takes {len(declared)} arguments")
    kinds = []
    for number, (kind, value) in enumerate(zip(declared, arguments, strict=True)):
        if kind is not None and not _is_of(kind, value):
            name = function.__code__.co_varnames[number]
            raise TypeError(f"{function.__name__}: {name} is {kind}, and not {value!r}")
        kinds.append(kind or kind_of(value))
    return tuple(kinds)


def _is_of(kind: Kind, value: Any) -> bool:
    """Whether a value can be passed as one of a kind."""
    if isinstance(kind, NumberKind):
        return isinstance(value, int | np.integer | np.bool_) and kind.holds(int(value))
    if isinstance(kind, Array):
        return isinstance(value, np.ndarray) and kind_of(value) == kind
    items = zip(kind.items, value, strict=False) if isinstance(value, tuple) else ()
    return len(kind.items) == len(value) and all(_is_of(one, item) for one, item in items)


@dataclass(frozen=True, eq=False)
class InPlace:
    """Code in assembly that takes the place of a kernel where another one calls it. `key` stands
    for all that it depends on.
    """

    kernel: Function
    write: Writer
    key: str


def native(
    function: Function, kinds: tuple[Kind, ...], in_place: InPlace | None = None
) -> NativeKernel:
    """The code for arguments of some kinds, from the disk or made. Raises `KernelError`."""
    key = code_key(function, kinds)
    folder: Path | None = kernels_folder()
    most, what = MOST_ENTRIES, "compiling a part of the engine, once for this user"
    if in_place is not None:
        # It belongs to a product, whose objects are many and large, and are removed sooner.
        key = hashlib.sha256(f"{key} {in_place.key}".encode()).hexdigest()
        folder, most, what = None, object_cache.MOST_ENTRIES, "making faster machine code"
    kept = object_cache.load(key, folder)
    if kept is not None:
        code, notes = kept
        return NativeKernel(code, kinds, notes["returns"])
    with phase(what):
        code, returns = _compiled(function, kinds, in_place)
    object_cache.store(key, code, {"returns": returns}, folder, most=most)
    return NativeKernel(code, kinds, returns)


def _compiled(
    function: Function, kinds: tuple[Kind, ...], in_place: InPlace | None
) -> tuple[bytes, list[int] | int | None]:
    """Object code, and the widths of the numbers that it returns: several for a tuple."""
    from modecheck.engine.language import assembly
    from modecheck.engine.language.program import Program

    written = {in_place.kernel: in_place.write} if in_place else {}
    program = Program(assembly.Module(llvm.get_process_triple()), written)
    entry = program.entry(function, kinds)
    target = target_machine(OPTIMISATION)
    module = llvm.parse_assembly(str(program))
    options = llvm.create_pipeline_tuning_options(speed_level=OPTIMISATION)
    builder = llvm.create_pass_builder(target, options)
    builder.getModulePassManager().run(module, builder)
    return target.emit_object(module), _widths(entry.result)


def _widths(kind: Kind) -> list[int] | int | None:
    """What is returned, as it is written to disk: bits, negative for numbers with a sign."""
    if isinstance(kind, NumberKind):
        return -kind.bits if kind.signed else kind.bits
    assert isinstance(kind, GroupKind)
    return [width for item in kind.items if isinstance(width := _widths(item), int)] or None


class NativeKernel:
    """Code that is linked, and how it wants its arguments."""

    def __init__(
        self, code: bytes, kinds: tuple[Kind, ...], returns: list[int] | int | None
    ) -> None:
        self._engine = linked(code, target_machine(OPTIMISATION))
        self._returns = returns
        self._width = len(returns) if isinstance(returns, list) else 1
        types = [one for kind in kinds for one in _c_types(kind)]
        prototype = ctypes.CFUNCTYPE(None, *types, ctypes.c_void_p)
        self._function = prototype(self._engine.get_function_address("entry"))

    def __call__(self, arguments: Sequence[Any]) -> Any:
        flat: list[Any] = []
        for one in arguments:
            _flatten(one, flat)
        result = (ctypes.c_int64 * self._width)()
        self._function(*flat, ctypes.byref(result))
        returns = self._returns
        if returns is None:
            return None
        if isinstance(returns, list):
            return tuple([_value(item, width) for item, width in zip(result, returns, strict=True)])
        return _value(result[0], returns)


def _value(written: int, width: int) -> int | bool:
    if width == BOOL.bits:
        return bool(written)
    return written if width < 0 else written & (1 << width) - 1


def _flatten(value: Any, into: list[Any]) -> None:
    """An argument as what is passed."""
    if isinstance(value, np.ndarray):
        into.append(value.ctypes.data)
        into += value.shape
    elif isinstance(value, tuple):
        for one in value:
            _flatten(one, into)
    else:
        into.append(int(value))


def _c_types(kind: Kind) -> Iterator[Any]:
    """The types of what is passed for an argument of a kind."""
    if isinstance(kind, NumberKind):
        yield ctypes.c_bool if kind == BOOL else _SCALARS[kind.bits, kind.signed]
    elif isinstance(kind, Array):
        yield ctypes.c_void_p
        yield from [ctypes.c_int64] * kind.dimensions
    else:
        for item in kind.items:
            yield from _c_types(item)


_SCALARS = {
    (bits, signed): getattr(ctypes, f"c_{'' if signed else 'u'}int{bits}")
    for bits in (8, 16, 32, 64)
    for signed in (False, True)
}


def code_key(function: Function, kinds: tuple[Kind, ...]) -> str:
    """A hash of whatever the code depends on."""
    facts = repr((object_cache.compiler(), _digest(function), kinds))
    return hashlib.sha256(facts.encode()).hexdigest()


@cache
def _digest(value: Any, within: tuple[Any, ...] = ()) -> str:
    """A hash of a function or an intrinsic, and of all that it uses."""
    if isinstance(value, Intrinsic):
        return hashlib.sha256(value.definition.encode()).hexdigest()
    if value in within:
        where = value.__code__
        raise KernelError(where.co_filename, where.co_firstlineno, "a kernel calls itself")
    facts = [*_facts_of(value.__code__)]
    for name, known in _used_by(value).items():
        used = getattr(known, "function", known)  # a kernel's
        if isinstance(used, Intrinsic | FunctionType):
            facts.append(f"{name} {_digest(used, (*within, value))}")
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


def _used_by(function: Any) -> dict[str, Any]:
    """What a function uses of its module, by name."""
    names = _names_in(function.__code__)
    return {name: function.__globals__[name] for name in names if name in function.__globals__}


def _names_in(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _names_in(constant)
