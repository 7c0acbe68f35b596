"""Have numba compile a kernel. This is all that loads numba to explore, once for each user."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import FunctionType
from typing import Any

import llvmlite.binding as llvm
from numba import njit, typeof, types
from numba.core.cpu import CPUTargetOptions
from numba.extending import intrinsic

from modecheck.engine.compiled.kernel import OPTIMISATION, Intrinsic, Kernel, Made, used_by
from modecheck.engine.compiled.linking import target_machine

_COUNTS_NOTHING: Any = {"_nrt": False} if hasattr(CPUTargetOptions, "_nrt") else {}
_compiled: Any = njit(nogil=True, boundscheck=False, **_COUNTS_NOTHING)

KNOWN_SYMBOLS = frozenset({"memcpy", "memmove", "memset", "memcmp", "bcmp"})
"""What code may ask for that is in every process."""

_made: dict[Kernel | Intrinsic, Any] = {}


def make(kernel: Kernel, arguments: Sequence[Any]) -> tuple[Made | None, Callable[..., Any]]:
    """The code of a kernel for arguments of these types, or None where it would need numba beside
    it; and what numba made, to be called instead.
    """
    dispatcher = _for_numba(kernel)
    signature = tuple(typeof(one) for one in arguments)
    dispatcher.compile(signature)
    overload = dispatcher.overloads[signature]
    name, returns = overload.fndesc.llvm_func_name, _returns(overload.signature.return_type)
    module = llvm.parse_assembly(dispatcher.inspect_llvm(signature))
    for function in module.functions:
        # Numba also makes functions that Python and C could call.
        if not function.is_declaration and function.name != name:
            function.linkage = "internal"
    passes = llvm.create_new_module_pass_manager()
    passes.add_global_dead_code_eliminate_pass()
    target = target_machine(OPTIMISATION)
    passes.run(module, llvm.create_pass_builder(target, llvm.create_pipeline_tuning_options()))
    if returns is False or _asks_for(module) - KNOWN_SYMBOLS:
        return None, dispatcher
    return Made(target.emit_object(module), name, returns), dispatcher


def _for_numba(value: Kernel | Intrinsic) -> Any:
    """A kernel or an intrinsic as numba's own, with all others that it uses."""
    if value not in _made:
        if isinstance(value, Intrinsic):
            _made[value] = intrinsic(value.function)
        else:
            _made[value] = _compiled(_linked(value.function))
    return _made[value]


def _linked(function: Any) -> Any:
    """A function that uses what numba knows in place of kernels and intrinsics."""
    others = {
        name: _for_numba(used)
        for name, used in used_by(function).items()
        if isinstance(used, Kernel | Intrinsic)
    }
    copy = FunctionType(function.__code__, {**function.__globals__, **others}, function.__name__)
    copy.__qualname__ = function.__qualname__
    return copy


def _returns(kind: Any) -> Any:
    """The types of what is returned; False where we do not know how that is done."""
    if isinstance(kind, types.NoneType):
        return None
    if isinstance(kind, types.Boolean):
        return "|b1"
    if isinstance(kind, types.Integer):
        return (
            f"{'<' if kind.bitwidth > 8 else '|'}{'i' if kind.signed else 'u'}{kind.bitwidth // 8}"
        )
    if isinstance(kind, types.BaseTuple):
        parts = [_returns(one) for one in kind]
        return parts if all(one in ("<i8", "<u8") for one in parts) else False
    return False


def _asks_for(module: llvm.ModuleRef) -> set[str]:
    """What a module does not have itself."""
    functions = {one.name for one in module.functions if one.is_declaration}
    variables = {one.name for one in module.global_variables if one.is_declaration}
    return {one for one in functions | variables if not one.startswith("llvm.")}
