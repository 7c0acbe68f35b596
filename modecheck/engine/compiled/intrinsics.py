"""What kernels need beyond Python: call code by its address, ask for memory ahead of time."""

from __future__ import annotations

from typing import Any

from llvmlite import ir

from modecheck.engine.compiled.kernel import Intrinsic

_I64 = ir.IntType(64)
_I32 = ir.IntType(32)


def _signature(result: str, *arguments: str) -> Any:
    """Numba's, by the names of its types."""
    from numba import types

    return getattr(types, result)(*(getattr(types, one) for one in arguments))


@Intrinsic
def call_successors(_context: Any, _address: Any, _state: Any, _out: Any, _seen: Any) -> Any:
    """`successors(state, out, seen)` at an address; all four are unsigned 64-bit integers."""
    signature = _signature("uint64", "uint64", "uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        kind = ir.FunctionType(_I64, (_I64, _I64, _I64))
        function = builder.inttoptr(args[0], kind.as_pointer())
        return builder.call(function, args[1:])

    return signature, generate


@Intrinsic
def call_marks(_context: Any, _address: Any, _state: Any) -> Any:
    """`marks(state)` at an address."""
    signature = _signature("uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        function = builder.inttoptr(args[0], ir.FunctionType(_I64, (_I64,)).as_pointer())
        return builder.call(function, args[1:])

    return signature, generate


@Intrinsic
def call_valuation(_context: Any, _address: Any, _state: Any, _events: Any) -> Any:
    """`valuation(state, events)` at an address."""
    signature = _signature("uint64", "uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        kind = ir.FunctionType(_I64, (_I64, _I64))
        function = builder.inttoptr(args[0], kind.as_pointer())
        return builder.call(function, args[1:])

    return signature, generate


@Intrinsic
def prefetch(_context: Any, _address: Any) -> Any:
    """Ask for the cache line at an address; never fails, whatever the address."""
    signature = _signature("void", "uint64")

    def generate(context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        pointer = builder.inttoptr(args[0], ir.IntType(8).as_pointer())
        kind = ir.FunctionType(ir.VoidType(), (pointer.type, _I32, _I32, _I32))
        name = "llvm.prefetch.p0"
        function = builder.module.globals.get(name) or ir.Function(builder.module, kind, name)
        read, keep, data = (ir.Constant(_I32, value) for value in (0, 3, 1))
        builder.call(function, (pointer, read, keep, data))
        return context.get_dummy_value()

    return signature, generate


@Intrinsic
def fill_slot(_context: Any, _address: Any, _stored: Any) -> Any:
    """Store a word where 0 stands, in one step that no other thread can come between; whether 0
    stood there. What was written before is seen by whoever sees the word.
    """
    signature = _signature("boolean", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        slot = builder.inttoptr(args[0], _I64.as_pointer())
        done = builder.cmpxchg(slot, ir.Constant(_I64, 0), args[1], "seq_cst", "seq_cst")
        return builder.extract_value(done, 1)

    return signature, generate


@Intrinsic
def take_from(_context: Any, _address: Any, _amount: Any) -> Any:
    """Add to the counter at an address, in one step; what it was before."""
    signature = _signature("int64", "uint64", "int64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        counter = builder.inttoptr(args[0], _I64.as_pointer())
        return builder.atomic_rmw("add", counter, args[1], "seq_cst")

    return signature, generate


LINE = 8
"""Slots of 64 bits in a cache line."""


@Intrinsic
def slots_equal(_context: Any, _address: Any, _value: Any) -> Any:
    """Which slots of the cache line at an address hold a value, as bits."""
    signature = _signature("uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        return _matching(builder, args[0], args[1], upper_half=False)

    return signature, generate


@Intrinsic
def upper_halves_equal(_context: Any, _address: Any, _value: Any) -> Any:
    """Which slots of the cache line at an address have the upper half of a value, as bits."""
    signature = _signature("uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        return _matching(builder, args[0], args[1], upper_half=True)

    return signature, generate


@Intrinsic
def slots_equal_and_empty(_context: Any, _address: Any, _value: Any) -> Any:
    """Which slots of a cache line hold a value, and `LINE` bits above, which are empty.

    Both are told of one look: of two, the second might see what another thread stored in between.
    """
    signature = _signature("uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        return _matching_or_empty(builder, args[0], args[1], upper_half=False)

    return signature, generate


@Intrinsic
def upper_halves_equal_and_empty(_context: Any, _address: Any, _value: Any) -> Any:
    """The same of slots that have the upper half of a value."""
    signature = _signature("uint64", "uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        return _matching_or_empty(builder, args[0], args[1], upper_half=True)

    return signature, generate


def _matching(
    builder: ir.IRBuilder, address: ir.Value, value: ir.Value, *, upper_half: bool
) -> ir.Value:
    return _equal(builder, _line_at(builder, address), value, upper_half=upper_half)


def _matching_or_empty(
    builder: ir.IRBuilder, address: ir.Value, value: ir.Value, *, upper_half: bool
) -> ir.Value:
    line = _line_at(builder, address)
    equal = _equal(builder, line, value, upper_half=upper_half)
    empty = _equal(builder, line, ir.Constant(_I64, 0), upper_half=False)
    return builder.or_(equal, builder.shl(empty, ir.Constant(_I64, LINE)))


def _line_at(builder: ir.IRBuilder, address: ir.Value) -> ir.Value:
    kind = ir.VectorType(_I64, LINE)
    return builder.load(builder.inttoptr(address, kind.as_pointer()), align=64)


def _equal(builder: ir.IRBuilder, line: ir.Value, value: ir.Value, *, upper_half: bool) -> ir.Value:
    """Compare a whole line at once: one or two instructions, and nothing to predict."""
    kind = ir.VectorType(_I64, LINE)
    single = builder.insert_element(ir.Constant(kind, ir.Undefined), value, ir.Constant(_I32, 0))
    zeros = ir.Constant(ir.VectorType(_I32, LINE), [0] * LINE)
    everywhere = builder.shuffle_vector(single, ir.Constant(kind, ir.Undefined), zeros)
    if upper_half:
        shift = ir.Constant(kind, [32] * LINE)
        line, everywhere = builder.lshr(line, shift), builder.lshr(everywhere, shift)
    equal = builder.icmp_unsigned("==", line, everywhere)
    return builder.zext(builder.bitcast(equal, ir.IntType(LINE)), _I64)


@Intrinsic
def lowest_bit(_context: Any, _bits: Any) -> Any:
    """The place of the lowest bit that is set; there must be one."""
    signature = _signature("uint64", "uint64")

    def generate(_context: Any, builder: ir.IRBuilder, _signature: Any, args: Any) -> ir.Value:
        return builder.cttz(args[0], ir.Constant(ir.IntType(1), 1))

    return signature, generate
