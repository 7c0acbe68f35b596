"""What kernels need that run on a GPU by many threads at once; elsewhere one thread runs them.

Memory that all threads share is looked at and changed by address. On a GPU an ordinary look may
find what a cache of the own multiprocessor kept: it is enough where what stands there never changes
again once it is no longer 0, and `fresh_word` is for the rest.
"""

from __future__ import annotations

import ctypes
from typing import Any

import numpy as np

from modecheck.engine.language.intrinsics import intrinsic
from modecheck.engine.language.kinds import NOTHING, U64

WHOLE = 64
"""Bits of a word."""


def _word(address: Any) -> Any:
    return ctypes.c_uint64.from_address(int(address))


def _both(body: str) -> tuple[str, tuple[str, str]]:
    """A body for the processor and one for a GPU, with what that declares: `GLOBAL` is the address
    space of the memory that all threads share, `SCOPE` are those threads.
    """
    on_gpu = body.replace("GLOBAL", "addrspace(1)").replace("SCOPE", 'syncscope("device")')
    return body.replace("GLOBAL", "").replace("SCOPE", ""), (on_gpu, "")


@intrinsic(
    (),
    U64,
    "  ret i64 0",
    on_gpu=(
        """
  %block = call i32 asm "mov.u32 $0, %ctaid.x;", "=r"()
  %size = call i32 asm "mov.u32 $0, %ntid.x;", "=r"()
  %inside = call i32 asm "mov.u32 $0, %tid.x;", "=r"()
  %before = mul i32 %block, %size
  %number = add i32 %before, %inside
  %wide = zext i32 %number to i64
  ret i64 %wide
""",
        "",
    ),
)
def thread_number() -> np.uint64:
    """Which of all threads this is, from 0 on."""
    return np.uint64(0)


@intrinsic(
    (),
    U64,
    "  ret i64 1",
    on_gpu=(
        """
  %blocks = call i32 asm "mov.u32 $0, %nctaid.x;", "=r"()
  %size = call i32 asm "mov.u32 $0, %ntid.x;", "=r"()
  %count = mul i32 %blocks, %size
  %wide = zext i32 %count to i64
  ret i64 %wide
""",
        "",
    ),
)
def thread_count() -> np.uint64:
    """How many threads there are."""
    return np.uint64(1)


_SWAPPED, _SWAPPED_ON_GPU = _both("""
  %slot = inttoptr i64 %address to ptr GLOBAL
  %done = cmpxchg ptr GLOBAL %slot, i64 0, i64 %stored SCOPE monotonic monotonic
  %before = extractvalue { i64, i1 } %done, 0
  ret i64 %before
""")


@intrinsic((U64, U64), U64, _SWAPPED, on_gpu=_SWAPPED_ON_GPU)
def claim_word(address: Any, stored: Any) -> np.uint64:
    """Store a word where 0 stands, in one step; what stood there before."""
    slot = _word(address)
    before = slot.value
    if before == 0:
        slot.value = int(stored)
    return np.uint64(before)


_ADDED, _ADDED_ON_GPU = _both("""
  %counter = inttoptr i64 %address to ptr GLOBAL
  %before = atomicrmw add ptr GLOBAL %counter, i64 %amount SCOPE monotonic
  ret void
""")


@intrinsic((U64, U64), NOTHING, _ADDED, on_gpu=_ADDED_ON_GPU)
def add_to(address: Any, amount: Any) -> None:
    """Add to the counter at an address, in one step."""
    counter = _word(address)
    counter.value = counter.value + int(amount)


_LEAST, _LEAST_ON_GPU = _both("""
  %counter = inttoptr i64 %address to ptr GLOBAL
  %before = atomicrmw umin ptr GLOBAL %counter, i64 %value SCOPE monotonic
  ret void
""")


@intrinsic((U64, U64), NOTHING, _LEAST, on_gpu=_LEAST_ON_GPU)
def least_at(address: Any, value: Any) -> None:
    """Keep the lesser of a value and of what stands at an address, in one step."""
    counter = _word(address)
    counter.value = min(counter.value, int(value))


_BITS, _BITS_ON_GPU = _both("""
  %place = inttoptr i64 %address to ptr GLOBAL
  %before = atomicrmw or ptr GLOBAL %place, i64 %bits SCOPE monotonic
  ret i64 %before
""")


@intrinsic((U64, U64), U64, _BITS, on_gpu=_BITS_ON_GPU)
def set_bits(address: Any, bits: Any) -> np.uint64:
    """Set bits of the word at an address, in one step; what stood there before."""
    place = _word(address)
    before = place.value
    place.value = before | int(bits)
    return np.uint64(before)


_TOGETHER = (
    "{ .reg .pred lead; .reg .b32 act, low, own, many, head; .reg .b64 all, at; "
    "activemask.b32 act; mov.u32 low, %lanemask_lt; and.b32 own, act, low; popc.b32 own, own; "
    "popc.b32 many, act; cvt.u64.u32 all, many; setp.eq.u32 lead, own, 0; mov.u64 at, 0; "
    "@lead atom.global.add.u64 at, [$1], all; "
    "brev.b32 head, act; clz.b32 head, head; "
    ".reg .b32 lo, hi; mov.b64 {lo, hi}, at; "
    "shfl.sync.idx.b32 lo, lo, head, 31, act; shfl.sync.idx.b32 hi, hi, head, 31, act; "
    "mov.b64 at, {lo, hi}; cvt.u64.u32 all, own; add.u64 $0, at, all; }"
)
"""One addition for all threads of a group that come together: each takes its place behind the first
of them."""


@intrinsic(
    (U64,),
    U64,
    """
  %counter = inttoptr i64 %address to ptr
  %before = atomicrmw add ptr %counter, i64 1 monotonic
  ret i64 %before
""",
    on_gpu=(
        f"""
  %taken = call i64 asm sideeffect "{_TOGETHER}", "=l,l,~{{memory}}"(i64 %address) convergent
  ret i64 %taken
""",
        "",
    ),
)
def take_one(address: Any) -> np.uint64:
    """Count one more at an address; how many there were before."""
    counter = _word(address)
    before = counter.value
    counter.value = before + 1
    return np.uint64(before)


MOST_AT_ONCE = (1 << 12) - 1
"""The most that a thread can take at once."""


def _votes(source: str, bits: int, each: str, matched: str = "") -> str:
    """PTX that sums up the numbers of threads that come together, into `many`: a vote on each bit.
    `each` uses `who`, who has that bit. `matched` leaves only the threads with the same address.
    """
    votes = (
        f"bfe.u32 bit, want, {place}, 1; setp.ne.u32 is, bit, 0; "
        "vote.sync.ballot.b32 who, is, act; "
        f"popc.b32 part, who; shl.b32 part, part, {place}; add.u32 many, many, part; "
        f"{each.format(place=place)}"
        for place in range(bits)
    )
    return (
        ".reg .pred lead, is; .reg .b32 act, low, own, many, head, bit, who, part, want, lo, hi; "
        f".reg .b64 all, at; activemask.b32 act; {matched}mov.u32 low, %lanemask_lt; "
        f"cvt.u32.u64 want, {source}; mov.u32 own, 0; mov.u32 many, 0; {''.join(votes)}"
        "and.b32 part, act, low; setp.eq.u32 lead, part, 0; setp.ne.and.u32 lead, many, 0, lead; "
        "cvt.u64.u32 all, many; "
    )


def _several(matched: str = "") -> str:
    """The same for threads that take different numbers: what is summed up of the threads before it
    tells each its place.
    """
    before = (
        "and.b32 who, who, low; popc.b32 part, who; shl.b32 part, part, {place}; "
        "add.u32 own, own, part; "
    )
    return (
        f"{{ {_votes('$2', MOST_AT_ONCE.bit_length(), before, matched)}"
        "mov.u64 at, 0; @lead atom.global.add.u64 at, [$1], all; "
        "brev.b32 head, act; clz.b32 head, head; mov.b64 {lo, hi}, at; "
        "shfl.sync.idx.b32 lo, lo, head, 31, act; shfl.sync.idx.b32 hi, hi, head, 31, act; "
        "mov.b64 at, {lo, hi}; cvt.u64.u32 all, own; add.u64 $0, at, all; }"
    )


@intrinsic(
    (U64, U64),
    U64,
    """
  %counter = inttoptr i64 %address to ptr
  %before = atomicrmw add ptr %counter, i64 %amount monotonic
  ret i64 %before
""",
    on_gpu=(
        f"""
  %taken = call i64 asm sideeffect "{_several()}", "=l,l,l,~{{memory}}"(
      i64 %address, i64 %amount) convergent
  ret i64 %taken
""",
        "",
    ),
)
def take_several(address: Any, amount: Any) -> np.uint64:
    """Count so many more at an address, at most `MOST_AT_ONCE`; how many there were before."""
    counter = _word(address)
    before = counter.value
    counter.value = before + int(amount)
    return np.uint64(before)


@intrinsic(
    (U64, U64),
    U64,
    """
  %counter = inttoptr i64 %address to ptr
  %before = atomicrmw add ptr %counter, i64 %amount monotonic
  ret i64 %before
""",
    on_gpu=(
        f"""
  %taken = call i64 asm sideeffect "{_several("match.any.sync.b64 act, $1, act; ")}",
      "=l,l,l,~{{memory}}"(i64 %address, i64 %amount) convergent
  ret i64 %taken
""",
        "",
    ),
)
def take_several_each(address: Any, amount: Any) -> np.uint64:
    """As `take_several`, where threads that come together may count at different addresses."""
    return np.uint64(take_several(address, amount))


COUNT_BITS = 26
"""Bits of a number that a thread can add together with others: a group of 32 sums up to 32 bits."""


@intrinsic(
    (U64, U64),
    NOTHING,
    _ADDED,
    on_gpu=(
        f"""
  call void asm sideeffect
      "{{ {_votes("$1", COUNT_BITS, "")}@lead red.global.add.u64 [$0], all; }}",
      "l,l,~{{memory}}"(i64 %address, i64 %amount) convergent
  ret void
""",
        "",
    ),
)
def add_together(address: Any, amount: Any) -> None:
    """Add less than 2^26 to a counter, by one addition for all threads of a group that come
    together: additions to one address are done one after the other.
    """
    add_to(address, amount)


_FRESH, _FRESH_ON_GPU = _both("""
  %place = inttoptr i64 %address to ptr GLOBAL
  %now = load volatile i64, ptr GLOBAL %place, align 8
  ret i64 %now
""")


@intrinsic((U64,), U64, _FRESH, on_gpu=_FRESH_ON_GPU)
def fresh_word(address: Any) -> np.uint64:
    """A word that other threads change, as it is now."""
    return np.uint64(_word(address).value)


@intrinsic(
    (U64, U64),
    NOTHING,
    """
  %place = inttoptr i64 %address to ptr
  store volatile i64 %word, ptr %place, align 8
  ret void
""",
    on_gpu=(
        """
  call void asm sideeffect "membar.gl; st.volatile.global.u64 [$0], $1;", "l,l,~{memory}"(
      i64 %address, i64 %word)
  ret void
""",
        "",
    ),
)
def publish_word(address: Any, word: Any) -> None:
    """Store a word; whoever sees it sees also what was written before."""
    _word(address).value = int(word)


@intrinsic(
    (U64, U64),
    U64,
    """
  %one.wide = zext i64 %one to i128
  %two.wide = zext i64 %two to i128
  %product = mul i128 %one.wide, %two.wide
  %above = lshr i128 %product, 64
  %high = trunc i128 %above to i64
  ret i64 %high
""",
)
def high_product(one: Any, two: Any) -> np.uint64:
    """The upper word of a product of two words."""
    return np.uint64(int(one) * int(two) >> WHOLE)
