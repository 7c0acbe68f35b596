"""The language of kernels: each construct, compiled and run by CPython, on random input."""

from __future__ import annotations

import ctypes
import importlib
import random
import re
from collections.abc import Callable
from inspect import signature
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

import modecheck
from modecheck.engine.language.annotations import I64s, declared_kinds
from modecheck.engine.language.assembly import Module
from modecheck.engine.language.intrinsics import (
    call_marks,
    call_successors,
    call_valuation,
    fill_short_slot,
    fill_slot,
    lowest_bit,
    prefetch,
    short_slots_equal,
    short_slots_equal_and_empty,
    slots_equal,
    slots_equal_and_empty,
    take_from,
    upper_halves_equal_and_empty,
)
from modecheck.engine.language.kernel import Kernel, interpreted
from modecheck.engine.language.operands import KernelError
from modecheck.engine.language.program import Program

ONE = np.uint64(1)
SHIFT = np.uint64(7)
EIGHT = 8
TRIALS = 60


@pytest.fixture(autouse=True)
def _folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """These tests keep their kernels apart."""
    monkeypatch.setenv("MODECHECK_KERNELS", str(tmp_path))


class Parts(NamedTuple):
    """Several arguments in one."""

    numbers: Any
    factor: Any


def wrapping(one: Any, two: Any) -> Any:
    """Unsigned numbers wrap around."""
    return (one + two) * (one - two) ^ ~one, one | two, one & two, one << SHIFT, two >> SHIFT


def rounding(one: Any, two: Any) -> Any:
    """Quotients and rests of signed numbers are rounded down."""
    return one // two, one % two, one // EIGHT, one % 3, -one


def unsigned_quotients(one: Any, two: Any) -> Any:
    """Those of unsigned ones have nothing to round."""
    return one // (two | ONE), one % (two | ONE)


def comparing(one: Any, two: Any) -> Any:
    """Every comparison, and a chain."""
    return one < two, one <= two, one > two, one >= two, one == two, one != two, 0 <= one < two


def deciding(one: Any, two: Any) -> Any:
    """`and`, `or`, `not`, a choice, the smaller and the larger."""
    both = one > 0 and two > 0
    either = one > 0 or two > 0
    chosen = one if not both else two
    return both, either, chosen, min(one, two), max(one, 3)


def jumping(numbers: Any) -> Any:
    """Loops with `break`, `continue` and `else`, forwards, backwards and by steps."""
    total, odd = 0, 0
    for number in range(numbers.size):
        if numbers[number] < 0:
            continue
        if numbers[number] > 90:
            break
        total += numbers[number]
    else:
        total += 1000
    for number in range(numbers.size - 1, -1, -2):
        odd = odd * 3 + numbers[number]
    place = 0
    while place < numbers.size:
        if numbers[place] == 5:
            break
        place += 1
    else:
        place = -1
    for value in numbers:
        odd -= value
    return total, odd, place


def rows(table: Any, parts: Any) -> Any:
    """Arrays of two dimensions, rows, parts, tuples with names and without."""
    numbers, factor = parts
    row = table[1]
    row[0] += 5
    table[2, 1] = row[-1]
    return row[-1] * 3, parts.factor + factor, numbers.size, parts.numbers[1], parts[0][2]


def filling(numbers: Any, others: Any, table: Any) -> Any:
    """Whole arrays and parts of them are filled, and copied; several names get one value."""
    numbers[:] = 3
    numbers[1:3] = others[2:4]
    first, second, third = table
    second[:] = first
    third[0] = second[1] = numbers[0]
    numbers[0], numbers[1] = numbers[1], numbers[0]
    return numbers.size, table.size, table.shape[1], len(numbers), len(table)


def converting(one: Any) -> Any:
    """What does not fit another kind is cut off."""
    return (
        np.uint8(one), np.int8(one), np.uint16(one), np.int32(one), np.uint32(one), np.uint64(one),
        np.int64(np.uint32(one)), np.int64(np.int16(one)),
    )  # fmt: skip


def storing(one: Any, small: Any, flags: Any) -> None:
    """Elements of a narrow array keep the lower bits; those of truth values are 0 or 1."""
    small[0] = np.uint16(one)
    small[1] += np.uint16(one)
    flags[0] = one > 5
    flags[1] = flags[0] and one < 50


@Kernel
def twice(number: Any) -> Any:
    """A kernel that another one calls."""
    return number + number, number > 4


def calling(number: Any, parts: Any) -> Any:
    """Kernels call each other, for other kinds of arguments, too."""
    doubled, large = twice(number)
    again, _ = twice(parts.numbers[0])
    return doubled, large, again, parts.factor


def widening(numbers: Any) -> Any:
    """A name that turns out wider than it was at first is as wide from the beginning."""
    best = numbers[0]
    for number in range(numbers.size):
        best = max(best, number * 1000)
    return best


def recursive(number: Any) -> Any:
    """Nothing that calls itself."""
    return RECURSIVE(number)


RECURSIVE = Kernel(recursive)


def _signed(dice: random.Random) -> int:
    return dice.choice([dice.randrange(-20, 20), dice.randrange(-(1 << 62), 1 << 62)])


def _nonzero(dice: random.Random) -> int:
    return dice.choice([-7, -3, -1, 1, 2, 5, 1 << 33])


def _word(dice: random.Random) -> np.uint64:
    return np.uint64(dice.choice([0, 1, dice.getrandbits(64), (1 << 64) - 1]))


def _array(dice: random.Random, kind: type[np.generic], size: int = 9) -> Any:
    return np.array([dice.randrange(-9, 99) % 256 for _ in range(size)], kind)


CONSTRUCTS: list[tuple[Callable[..., Any], Callable[[random.Random], tuple[Any, ...]]]] = [
    (wrapping, lambda dice: (_word(dice), _word(dice))),
    (rounding, lambda dice: (_signed(dice), _nonzero(dice))),
    (unsigned_quotients, lambda dice: (_word(dice), _word(dice))),
    (comparing, lambda dice: (_signed(dice), _signed(dice))),
    (comparing, lambda dice: (_word(dice), _word(dice))),
    (deciding, lambda dice: (_signed(dice), _signed(dice))),
    (jumping, lambda dice: (np.array([dice.randrange(-9, 99) for _ in range(7)], np.int64),)),
    (jumping, lambda dice: (np.array([dice.randrange(-9, 99) for _ in range(7)], np.int32),)),
    (filling, lambda dice: (
        _array(dice, np.uint32), _array(dice, np.uint32),
        _array(dice, np.uint32, 12).reshape(3, 4),
    )),
    (rows, lambda dice: (
        _array(dice, np.int64, 12).reshape(3, 4), Parts(_array(dice, np.uint8), _word(dice))
    )),
    (converting, lambda dice: (np.int64(_signed(dice)),)),
    (converting, lambda dice: (_word(dice),)),
    (storing, lambda dice: (
        np.int64(dice.randrange(100)), np.zeros(3, np.uint16), np.zeros(2, np.bool_)
    )),
    (calling, lambda dice: (dice.randrange(9), Parts(_array(dice, np.int32), _word(dice)))),
    (widening, lambda dice: (_array(dice, np.uint16),)),
]  # fmt: skip


def _copied(arguments: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(one.copy() if isinstance(one, np.ndarray) else one for one in arguments)


@pytest.mark.parametrize(
    ("function", "arguments"), CONSTRUCTS, ids=[one.__name__ for one, _ in CONSTRUCTS]
)
def test_what_is_compiled_does_what_cpython_does(
    function: Callable[..., Any], arguments: Callable[[random.Random], tuple[Any, ...]]
) -> None:
    """Results, and what is written to arrays, are the same."""
    dice = random.Random(function.__name__)  # noqa: S311 - examples
    kernel = Kernel(function)
    for _ in range(TRIALS):
        given = arguments(dice)
        ours, theirs = _copied(given), _copied(given)
        with interpreted(), np.errstate(over="ignore"):
            expected = kernel(*theirs)
        assert kernel(*ours) == expected
        for one, other in zip(ours, theirs, strict=True):
            if isinstance(one, np.ndarray):
                assert one.tolist() == other.tolist()


REFUSED = {
    "a string": ("    return text", "text is read before"),
    "an allocation": ("    a = np.zeros(3)", "np.zeros is no integer"),
    "a call of anything else": ("    print(a)", "only kernels, intrinsics, min, max"),
    "a list": ("    a = [1]", "List is not in the language"),
    "a float": ("    return 1.5", "a constant must be an integer, not float"),
    "a division": ("    return a / 2", "Div is not in the language"),
    "signed and unsigned": ("    return a + np.uint64(1)", "int64 and uint64 have no kind"),
    "two kinds of one name": (
        "    b = np.uint64(1)\n    b = a",
        "b is int64 elsewhere, and uint64 here",
    ),
    "a result that is missing": (
        "    if a:\n        return 1",
        "it does not return a value everywhere",
    ),
    "names of arguments": ("    return min(a, b=2)", "one by one"),
    "a step that is not known": (
        "    for b in range(0, 9, a):\n        pass",
        "the step of a range",
    ),
    "an exception": (
        "    try:\n        a = 1\n    except ValueError:\n        a = 2",
        "Try is not",
    ),
    "itself": ("    return refused(a)", "a kernel calls itself"),
}


@pytest.mark.parametrize(("body", "message"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_not_in_the_language_is_refused_with_its_place(
    body: str, message: str, tmp_path: Path
) -> None:
    """File, line, the kernel's name, and what is wrong."""
    path = tmp_path / "refused.py"
    text = f"def refused(a):\n    b = 0\n{body}\n"
    path.write_text(text, encoding="utf-8")
    names: dict[str, Any] = {"np": np}
    exec(compile(text, str(path), "exec"), names)  # noqa: S102 - our own text
    kernel = Kernel(names["refused"])
    names["refused"] = kernel
    with pytest.raises(KernelError) as raised:
        kernel(1)
    assert message in str(raised.value)
    assert raised.value.file == str(path)
    assert 1 <= raised.value.line <= text.count("\n")


def test_the_line_is_that_of_the_statement(tmp_path: Path) -> None:
    """Also where the fault is deep inside an expression."""
    path = tmp_path / "kernels.py"
    text = "def one(a):\n    a += 1\n    return min(a,\n               a + (2 / a))\n"
    path.write_text(text, encoding="utf-8")
    names: dict[str, Any] = {"np": np}
    exec(compile(text, str(path), "exec"), names)  # noqa: S102 - our own text
    with pytest.raises(KernelError, match=r"kernels\.py:4: one: Div is not in the language"):
        Kernel(names["one"])(1)


ROOT = Path(modecheck.__file__).parent
MODULES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in ROOT.rglob("*.py")
    if "\n@Kernel\n" in path.read_text(encoding="utf-8")
)
LEFT_OPEN = re.compile(r"Any|tuple\[\w+, \.\.\.\]")
"""The annotation of items of any size, and of a tuple of any length."""


@pytest.mark.parametrize("name", MODULES)
def test_every_kernel_is_in_the_language(name: str) -> None:
    """Also those that no other test calls, or only with a rare device."""
    module = importlib.import_module(f"modecheck.{name}")
    kernels = [one for one in vars(module).values() if isinstance(one, Kernel)]
    assert kernels
    for kernel in kernels:
        kinds = declared_kinds(kernel.function)
        known = tuple(kind for kind in kinds if kind is not None)
        given = signature(kernel.function).parameters.values()
        for kind, parameter in zip(kinds, given, strict=True):
            assert kind is not None or LEFT_OPEN.fullmatch(parameter.annotation), parameter
        if len(known) == len(kinds):
            Program(Module("none")).translated(kernel.function, known)


def test_arguments_that_kernels_do_not_know() -> None:
    """Other numbers, arrays with gaps, texts."""
    kernel = Kernel(widening)
    for wrong in (1.5, np.zeros(3), np.zeros(8, np.int64)[::2], "text", {1}):
        with pytest.raises(TypeError):
            kernel(wrong)


def declared(count: np.uint8, numbers: I64s, parts: Whole, flag: bool) -> int:
    """A kernel that says what it takes."""
    return numbers[0] + parts.shift + parts.words[0] + count if flag else 0


def calls_declared(numbers: I64s, parts: Whole) -> Any:
    """A literal is of the kind that is wanted."""
    return DECLARED(3, numbers, parts, numbers[0] > 4)


class Whole(NamedTuple):
    """An argument of which everything is said."""

    words: I64s
    shift: int


DECLARED = Kernel(declared)


def test_arguments_are_what_a_kernel_says_they_are() -> None:
    """A number that fits is taken, of whatever type; anything else is refused by its name."""
    numbers, parts = np.array([5, 7], np.int64), Whole(np.array([2], np.int64), 1)
    for count in (3, np.int64(3), np.uint8(3)):
        assert DECLARED(count, numbers, parts, True) == 11
    assert Kernel(calls_declared)(numbers, parts) == 11
    assert Kernel(calls_declared)(numbers - 1, parts) == 0
    wrong: list[tuple[Any, ...]] = [
        (256, numbers, parts, True), (-1, numbers, parts, True), (3, numbers[:, None], parts, True),
        (3, numbers.astype(np.uint64), parts, True), (3, numbers, (numbers, 1, 2), True),
    ]  # fmt: skip
    names = ["count", "count", "numbers", "numbers", "parts"]
    for arguments, name in zip(wrong, names, strict=True):
        with pytest.raises(TypeError, match=f"declared: {name} is "):
            DECLARED(*arguments)
    with pytest.raises(TypeError, match="takes 4 arguments"):
        DECLARED(3, numbers, parts)


# Each intrinsic, called by a kernel.


def call_all(address: Any, value: Any) -> Any:
    """What compares a line, and what says where a bit is."""
    prefetch(address)
    return (
        slots_equal(address, value),
        slots_equal_and_empty(address, value),
        upper_halves_equal_and_empty(address, value),
        short_slots_equal(address, value),
        short_slots_equal_and_empty(address, value),
        lowest_bit(value | ONE << SHIFT),
    )


NEXT_SLOT = np.uint64(8)


def change_all(address: Any, value: Any, amount: Any) -> Any:
    """What changes memory in one step."""
    filled, short = fill_slot(address, value), fill_short_slot(address + NEXT_SLOT, value)
    again = fill_slot(address, value) or fill_short_slot(address + NEXT_SLOT, value)
    return filled, short, again, take_from(address, amount)


def call_code(address: Any, one: Any, two: Any, three: Any) -> Any:
    """What calls code by its address."""
    return (
        call_successors(address, one, two, three),
        call_marks(address, one),
        call_valuation(address, one, two),
    )


def _aligned(words: list[int]) -> Any:
    """Words that begin where a cache line does."""
    room = np.zeros(16, np.uint64)
    offset = (-room.ctypes.data // 8) % 8
    room[offset : offset + 8] = np.array(words, np.uint64)
    return room[offset : offset + 8]


def test_intrinsics_do_what_they_mean_in_python() -> None:
    """Lines with empty slots, equal ones, and ones of which only a half is equal."""
    dice = random.Random(1)  # noqa: S311 - examples
    kernel = Kernel(call_all)
    for _ in range(TRIALS):
        value = dice.getrandbits(64) | 1
        near = value ^ dice.randrange(1, 1 << 32)
        line = _aligned([dice.choice([0, value, near, dice.getrandbits(64)]) for _ in range(8)])
        given = (np.uint64(line.ctypes.data), np.uint64(value))
        with interpreted():
            expected = kernel(*given)
        assert kernel(*given) == tuple(map(int, expected))


def test_changes_in_one_step_are_what_they_mean_in_python() -> None:
    """A slot is filled once, and a counter gives what it was."""
    kernel, outcomes = Kernel(change_all), []
    for interprets in (True, False):
        line = _aligned([0] * 8)
        given = (np.uint64(line.ctypes.data), np.uint64(40), 2)
        if interprets:
            with interpreted():
                outcome = kernel(*given)
        else:
            outcome = kernel(*given)
        outcomes.append((tuple(map(int, outcome)), line[:3].tolist()))
    assert outcomes[0] == outcomes[1] == ((1, 1, 0, 40), [42, 40, 0])


def test_code_is_called_by_its_address() -> None:
    """The arguments arrive in their order; what is not taken is not looked at."""
    u64 = ctypes.c_uint64
    summed = ctypes.CFUNCTYPE(u64, u64, u64, u64)(
        lambda one, two, three: one + 10 * two + 100 * three
    )
    address = ctypes.cast(summed, ctypes.c_void_p).value
    arguments = [np.uint64(one) for one in (address or 0, 1, 2, 3)]
    kernel = Kernel(call_code)
    assert kernel(*arguments)[0] == 321
    with interpreted():
        assert int(call_successors(*arguments)) == 321
