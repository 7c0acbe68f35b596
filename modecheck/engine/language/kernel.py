"""Functions in the language of kernels, which run natively or by CPython.

A kernel is given arrays. Those of NumPy are large: for them it is compiled (`native_kernel.py`).
Python's own (`list`, `bytearray`, `array.array`) are small: then CPython runs it, neither NumPy nor
LLVM is loaded, and numbers are integers without end. A kernel that serves both is in a module that
imports NumPy for types alone; it says `len(x)` for `x.size`, fills arrays one by one, has no
arrays of two dimensions, and needs no casts: what is stored is cut to the array's elements, and a
literal takes the kind of what it stands beside.
"""

from __future__ import annotations

import threading
from array import array
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cached_property
from types import FunctionType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from modecheck.engine.language.kinds import Kind
    from modecheck.engine.language.native_kernel import InPlace, NativeKernel

SMALL = frozenset({list, bytearray, bytes, array})
"""Arrays over which CPython runs a kernel."""

_making = threading.RLock()
_interpreting = threading.local()


class Kernel:
    """A function of integers, truth values, arrays, and tuples of them, in the language that
    `program.py` defines. It allocates nothing, and lets other threads run while it does.

    With `in_place`, where it is compiled it calls other code in place of a kernel.
    Raises `KernelError`, when it is first called natively, for what is not in the language, and
    `TypeError` for arguments that are.
    """

    def __init__(self, function: Callable[..., Any], in_place: InPlace | None = None) -> None:
        self.function = function
        self.in_place = in_place
        self.__doc__ = function.__doc__
        self.__name__ = function.__name__
        self._ready: dict[tuple[Kind, ...], NativeKernel] = {}

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        if named:
            code = self.function.__code__
            names = code.co_varnames[len(arguments) : code.co_argcount]
            arguments = (*arguments, *[named[name] for name in names])
        if getattr(_interpreting, "on", False) or not SMALL.isdisjoint(map(type, arguments)):
            return self.plain(*arguments)
        from modecheck.engine.language.native_kernel import kinds_of, native

        kinds = kinds_of(self.function, arguments)
        ready = self._ready.get(kinds)
        if ready is None:
            with _making:
                ready = self._ready.get(kinds) or native(self.function, kinds, self.in_place)
                self._ready[kinds] = ready
        return ready(arguments)

    @cached_property
    def plain(self) -> Callable[..., Any]:
        """The function for CPython, which calls those of other kernels without a detour."""
        function = self.function
        names = set(function.__code__.co_names) & set(function.__globals__)
        known = {name: function.__globals__[name] for name in names}
        direct = {
            name: value.plain if isinstance(value, Kernel) else value
            for name, value in known.items()
        }
        return FunctionType(
            function.__code__, direct | {"__builtins__": __builtins__}, function.__name__
        )


@contextmanager
def interpreted() -> Iterator[None]:
    """In this thread kernels are run by CPython, as long as this lasts."""
    before, _interpreting.on = getattr(_interpreting, "on", False), True
    try:
        yield
    finally:
        _interpreting.on = before
