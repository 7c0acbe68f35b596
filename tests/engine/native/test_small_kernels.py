"""One kernel for small arrays and for large ones: Python's own are gone through by CPython."""

from __future__ import annotations

import random
import subprocess
import sys
from array import array
from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import U8s, U32s, U64s

NOWHERE = 0xFFFFFFFF
TRIALS = 30


@Kernel
def is_lacking(own: np.uint64, wanted: np.uint64) -> Any:
    """Whether a bit that is wanted is not there."""
    return wanted & ~own != 0


@Kernel
def last_lacking(marks: U64s, wanted: np.uint64, flags: U8s, places: U32s) -> Any:
    """Flag what lacks a bit, note the place before each, and give the last place and a sum."""
    before, total = NOWHERE, 0
    for number in range(len(marks)):
        places[number] = before
        if is_lacking(marks[number], wanted):
            flags[number] = 1
            before = number
            total += number + 1
    return before, total


def test_small_and_large_arrays_give_the_same() -> None:
    """Also numbers with the highest bit, and what is cut off when it is stored."""
    import numpy as np

    dice = random.Random(1)  # noqa: S311 - examples
    for _ in range(TRIALS):
        marks = [dice.getrandbits(64) for _ in range(dice.randint(0, 20))]
        wanted = dice.getrandbits(64)
        flags, places = bytearray(len(marks)), array("I", bytes(4 * len(marks)))
        small = last_lacking(marks, wanted, flags, places)
        few, many = np.zeros(len(marks), np.uint8), np.zeros(len(marks), np.uint32)
        assert last_lacking(np.array(marks, np.uint64), np.uint64(wanted), few, many) == small
        assert (few.tolist(), many.tolist()) == (list(flags), list(places))


def test_small_arrays_need_neither_numpy_nor_llvm() -> None:
    """A check of a small device starts at once."""
    lines = (
        "import sys",
        "from tests.engine.native.test_small_kernels import last_lacking",
        "assert last_lacking([1, 2, 3], 2, bytearray(3), [0] * 3) == (0, 1)",
        "assert not {'numpy', 'llvmlite'} & set(sys.modules)",
    )
    subprocess.run([sys.executable, "-c", "\n".join(lines)], check=True)
