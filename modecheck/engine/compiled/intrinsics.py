"""What kernels need beyond Python: call code by its address, ask for memory ahead of time."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

_I64 = ir.IntType(64)
_I32 = ir.IntType(32)


@intrinsic
def call_successors(_context: Any, _address: Any, _state: Any, _out: Any, _seen: Any) -> Any:
    """`successors(state, out, seen)` at an address; all four are unsigned 64-bit integers."""
    signature = types.uint64(types.uint64, types.uint64, types.uint64, types.uint64)

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        kind = ir.FunctionType(_I64, (_I64, _I64, _I64))
        function = builder.inttoptr(args[0], kind.as_pointer())
        return builder.call(function, args[1:])

    return signature, generate


@intrinsic
def call_marks(_context: Any, _address: Any, _state: Any) -> Any:
    """`marks(state)` at an address."""
    signature = types.uint64(types.uint64, types.uint64)

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        function = builder.inttoptr(args[0], ir.FunctionType(_I64, (_I64,)).as_pointer())
        return builder.call(function, args[1:])

    return signature, generate


@intrinsic
def prefetch(_context: Any, _address: Any) -> Any:
    """Ask for the cache line at an address; never fails, whatever the address."""
    signature = types.void(types.uint64)

    def generate(context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        pointer = builder.inttoptr(args[0], ir.IntType(8).as_pointer())
        kind = ir.FunctionType(ir.VoidType(), (pointer.type, _I32, _I32, _I32))
        name = "llvm.prefetch.p0"
        function = builder.module.globals.get(name) or ir.Function(builder.module, kind, name)
        read, keep, data = (ir.Constant(_I32, value) for value in (0, 3, 1))
        builder.call(function, (pointer, read, keep, data))
        return context.get_dummy_value()

    return signature, generate
