"""What kernels need beyond Python: call code by its address, look at memory by its address.

Each is a function in LLVM's assembly, put in where it is called, beside what it means in Python,
which runs where a kernel is run by CPython.
"""

from __future__ import annotations

import ctypes
import platform
from collections.abc import Callable
from typing import Any

import numpy as np

from modecheck.engine.language.kinds import BOOL, I64, NOTHING, U64, Kind, NumberKind

LINE = 8
"""Slots of 64 bits in a cache line; there are twice as many of 32 bits."""
SHORT = 0xFFFFFFFF
"""What fits a slot of 32 bits."""
UPPER = 32
"""Bits of a slot below its upper half."""
EMPTY = 16
"""Where the bits of the slots that are empty begin, above those of the slots that are equal."""


class Intrinsic:
    """A function that is written in assembly: `body` is what stands between its braces, and calls
    its arguments by the names that they have in `meaning`; `declares` is what that needs of LLVM.
    `on_gpu` are the body and the declarations for a GPU, where both are others there.
    """

    def __init__(
        self,
        meaning: Callable[..., Any],
        takes: tuple[NumberKind, ...],
        gives: Kind,
        body: str,
        declares: str,
        on_gpu: tuple[str, str] | None = None,
    ) -> None:
        self.on_gpu = on_gpu
        self.meaning = meaning
        self.takes = takes
        self.gives = gives
        self.body = body
        self.declares = declares
        self.__doc__ = meaning.__doc__
        self.__name__ = meaning.__name__

    def __call__(self, *arguments: Any) -> Any:
        return self.meaning(*arguments)

    @property
    def definition(self) -> str:
        """The function, as it stands in a module."""
        return self._defined(self.body, self.declares)

    @property
    def gpu_definition(self) -> str:
        """The same in a module for a GPU."""
        return self._defined(*(self.on_gpu or (self.body, self.declares)))

    def _defined(self, body: str, declares: str) -> str:
        code = self.meaning.__code__
        names = code.co_varnames[: code.co_argcount]
        arguments = ", ".join(
            f"{kind.type.text} %{name}" for kind, name in zip(self.takes, names, strict=True)
        )
        result = self.gives.type.text if isinstance(self.gives, NumberKind) else "void"
        head = f"define internal {result} @{self.__name__}({arguments}) alwaysinline"
        return "\n".join([declares, head, "{", body.strip("\n"), "}"])


def intrinsic(
    takes: tuple[NumberKind, ...],
    gives: Kind,
    body: str,
    *,
    declares: str = "",
    on_gpu: tuple[str, str] | None = None,
) -> Callable[[Callable[..., Any]], Intrinsic]:
    """Give a Python function a body in assembly."""
    return lambda meaning: Intrinsic(meaning, takes, gives, body, declares, on_gpu)


def _called(address: Any, *arguments: Any) -> np.uint64:
    kinds = [ctypes.c_uint64] * len(arguments)
    function = ctypes.CFUNCTYPE(ctypes.c_uint64, *kinds)(int(address))
    return np.uint64(function(*map(int, arguments)))


def _slots(address: Any, count: int = LINE) -> Any:
    return (ctypes.c_uint64 * count).from_address(int(address))


def _short_slots(address: Any, count: int = 2 * LINE) -> Any:
    return (ctypes.c_uint32 * count).from_address(int(address))


def _bits(flags: list[bool]) -> np.uint64:
    return np.uint64(sum(flag << place for place, flag in enumerate(flags)))


def _empty(slots: Any) -> np.uint64:
    return _bits([slot == 0 for slot in slots]) << np.uint64(EMPTY)


@intrinsic(
    (U64, U64, U64, U64),
    U64,
    """
  %function = inttoptr i64 %address to ptr
  %count = call i64 %function(i64 %state, i64 %out, i64 %seen)
  ret i64 %count
""",
)
def call_successors(address: Any, state: Any, out: Any, seen: Any) -> np.uint64:
    """`successors(state, out, seen)` at an address."""
    return _called(address, state, out, seen)


@intrinsic(
    (U64, U64),
    U64,
    """
  %function = inttoptr i64 %address to ptr
  %marks = call i64 %function(i64 %state)
  ret i64 %marks
""",
)
def call_marks(address: Any, state: Any) -> np.uint64:
    """`marks(state)` at an address."""
    return _called(address, state)


@intrinsic(
    (U64, U64, U64),
    U64,
    """
  %function = inttoptr i64 %address to ptr
  %atoms = call i64 %function(i64 %state, i64 %events)
  ret i64 %atoms
""",
)
def call_valuation(address: Any, state: Any, events: Any) -> np.uint64:
    """`valuation(state, events)` at an address."""
    return _called(address, state, events)


@intrinsic(
    (U64,),
    NOTHING,
    """
  %line = inttoptr i64 %address to ptr
  call void @llvm.prefetch.p0(ptr %line, i32 0, i32 3, i32 1)
  ret void
""",
    declares="declare void @llvm.prefetch.p0(ptr, i32, i32, i32)",
)
def prefetch(address: Any) -> None:
    """Ask for the cache line at an address; never fails, whatever the address."""


@intrinsic(
    (U64, U64),
    BOOL,
    """
  %slot = inttoptr i64 %address to ptr
  %done = cmpxchg ptr %slot, i64 0, i64 %stored seq_cst seq_cst
  %filled = extractvalue { i64, i1 } %done, 1
  ret i1 %filled
""",
)
def fill_slot(address: Any, stored: Any) -> bool:
    """Store a word where 0 stands, in one step that no other thread can come between; whether 0
    stood there. What was written before is seen by whoever sees the word.
    """
    slot = _slots(address, 1)
    if slot[0]:
        return False
    slot[0] = int(stored)
    return True


@intrinsic(
    (U64, U64),
    BOOL,
    """
  %slot = inttoptr i64 %address to ptr
  %short = trunc i64 %stored to i32
  %done = cmpxchg ptr %slot, i32 0, i32 %short seq_cst seq_cst
  %filled = extractvalue { i32, i1 } %done, 1
  ret i1 %filled
""",
)
def fill_short_slot(address: Any, stored: Any) -> bool:
    """The same of a slot of 32 bits."""
    slot = _short_slots(address, 1)
    if slot[0]:
        return False
    slot[0] = int(stored) & SHORT
    return True


@intrinsic(
    (U64, I64),
    I64,
    """
  %counter = inttoptr i64 %address to ptr
  %before = atomicrmw add ptr %counter, i64 %amount seq_cst
  ret i64 %before
""",
)
def take_from(address: Any, amount: Any) -> np.int64:
    """Add to the counter at an address, in one step; what it was before."""
    counter = ctypes.c_int64.from_address(int(address))
    before = counter.value
    counter.value = before + int(amount)
    return np.int64(before)


@intrinsic(
    (U64,),
    I64,
    """
  %counter = inttoptr i64 %address to ptr
  %now = load atomic i64, ptr %counter seq_cst, align 8
  ret i64 %now
""",
)
def now_at(address: Any) -> np.int64:
    """A number that other threads change, as it is now; what they wrote before is seen, too."""
    return np.int64(ctypes.c_int64.from_address(int(address)).value)


@intrinsic(
    (U64,),
    U64,
    """
  %place = inttoptr i64 %address to ptr
  %word = load i64, ptr %place, align 1
  ret i64 %word
""",
)
def word_at(address: Any) -> np.uint64:
    """The eight bytes at an address, wherever it is, as a number, the lowest first."""
    return np.uint64(ctypes.c_uint64.from_address(int(address)).value)


@intrinsic(
    (U64, I64, I64),
    BOOL,
    """
  %counter = inttoptr i64 %address to ptr
  %done = cmpxchg ptr %counter, i64 %before, i64 %after seq_cst seq_cst
  %replaced = extractvalue { i64, i1 } %done, 1
  ret i1 %replaced
""",
)
def replace_at(address: Any, before: Any, after: Any) -> bool:
    """Replace a number that other threads change, if it is still as it was; whether it was."""
    counter = ctypes.c_int64.from_address(int(address))
    if counter.value != int(before):
        return False
    counter.value = int(after)
    return True


_HINTS = {"x86_64": "llvm.x86.sse2.pause()", "AMD64": "llvm.x86.sse2.pause()"}
_HINT = _HINTS.get(platform.machine())
"""What tells a processor that its thread only waits, where there is such a thing."""


@intrinsic(
    (),
    NOTHING,
    f"  call void @{_HINT}\n  ret void" if _HINT else "  ret void",
    declares=f"declare void @{_HINT}" if _HINT else "",
)
def pause() -> None:
    """Wait for a moment, which leaves a core that is shared to its other thread."""


_LINE_AND_VALUE = """
  %place = inttoptr i64 %address to ptr
  %line = load <8 x i64>, ptr %place, align 64
  %single = insertelement <8 x i64> poison, i64 %value, i32 0
  %everywhere = shufflevector <8 x i64> %single, <8 x i64> poison, <8 x i32> zeroinitializer
"""
"""A whole line is compared at once: one or two instructions, and nothing to predict."""
_EQUAL_SLOTS = (
    _LINE_AND_VALUE
    + """
  %same = icmp eq <8 x i64> %line, %everywhere
  %flags = bitcast <8 x i1> %same to i8
  %equal = zext i8 %flags to i64
"""
)
_EQUAL_HALVES = (
    _LINE_AND_VALUE
    + """
  %shift = shufflevector <8 x i64> <i64 32, i64 poison, i64 poison, i64 poison,
      i64 poison, i64 poison, i64 poison, i64 poison>, <8 x i64> poison, <8 x i32> zeroinitializer
  %halves = lshr <8 x i64> %line, %shift
  %half = lshr <8 x i64> %everywhere, %shift
  %same = icmp eq <8 x i64> %halves, %half
  %flags = bitcast <8 x i1> %same to i8
  %equal = zext i8 %flags to i64
"""
)
_AND_EMPTY = """
  %none = icmp eq <8 x i64> %line, zeroinitializer
  %free = bitcast <8 x i1> %none to i8
  %empty = zext i8 %free to i64
  %above = shl i64 %empty, 16
  %both = or i64 %equal, %above
  ret i64 %both
"""
_EQUAL_SHORT_SLOTS = """
  %place = inttoptr i64 %address to ptr
  %line = load <16 x i32>, ptr %place, align 64
  %short = trunc i64 %value to i32
  %single = insertelement <16 x i32> poison, i32 %short, i32 0
  %everywhere = shufflevector <16 x i32> %single, <16 x i32> poison, <16 x i32> zeroinitializer
  %same = icmp eq <16 x i32> %line, %everywhere
  %flags = bitcast <16 x i1> %same to i16
  %equal = zext i16 %flags to i64
"""
_AND_EMPTY_SHORT = _AND_EMPTY.replace("8 x i64", "16 x i32").replace("8 x i1>", "16 x i1>")
_AND_EMPTY_SHORT = _AND_EMPTY_SHORT.replace("to i8", "to i16").replace("zext i8", "zext i16")


@intrinsic((U64, U64), U64, f"{_EQUAL_SLOTS}\n  ret i64 %equal")
def slots_equal(address: Any, value: Any) -> np.uint64:
    """Which slots of the cache line at an address hold a value, as bits."""
    return _bits([slot == int(value) for slot in _slots(address)])


@intrinsic((U64, U64), U64, _EQUAL_SLOTS + _AND_EMPTY)
def slots_equal_and_empty(address: Any, value: Any) -> np.uint64:
    """Which slots of a cache line hold a value, and from the bit `EMPTY` on, which are empty.

    Both are told of one look: of two, the second might see what another thread stored in between.
    """
    slots = _slots(address)
    return _bits([slot == int(value) for slot in slots]) | _empty(slots)


@intrinsic((U64, U64), U64, f"{_EQUAL_SHORT_SLOTS}\n  ret i64 %equal")
def short_slots_equal(address: Any, value: Any) -> np.uint64:
    """Which slots of 32 bits of the cache line at an address hold a value, as bits."""
    return _bits([slot == int(value) & SHORT for slot in _short_slots(address)])


@intrinsic((U64, U64), U64, _EQUAL_SHORT_SLOTS + _AND_EMPTY_SHORT)
def short_slots_equal_and_empty(address: Any, value: Any) -> np.uint64:
    """Which of them hold a value, and which are empty."""
    slots = _short_slots(address)
    return _bits([slot == int(value) & SHORT for slot in slots]) | _empty(slots)


@intrinsic((U64, U64), U64, _EQUAL_HALVES + _AND_EMPTY)
def upper_halves_equal_and_empty(address: Any, value: Any) -> np.uint64:
    """The same of slots of 64 bits that have the upper half of a value."""
    slots = _slots(address)
    equal = [slot >> UPPER == int(value) >> UPPER for slot in slots]
    return _bits(equal) | _empty(slots)


@intrinsic(
    (U64,),
    U64,
    """
  %place = call i64 @llvm.cttz.i64(i64 %bits, i1 true)
  ret i64 %place
""",
    declares="declare i64 @llvm.cttz.i64(i64, i1)",
)
def lowest_bit(bits: Any) -> np.uint64:
    """The place of the lowest bit that is set; there must be one."""
    return np.uint64((int(bits) & -int(bits)).bit_length() - 1)
