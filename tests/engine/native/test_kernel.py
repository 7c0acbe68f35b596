"""Kernels: what was compiled is kept, and called again with the same result."""

from __future__ import annotations

from pathlib import Path
from shutil import copytree, ignore_patterns
from typing import Any, NamedTuple

import numpy as np
import pytest

from modecheck.engine.language import native_kernel, object_cache
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.language.kinds import kind_of
from modecheck.engine.native import machine

FACTOR = np.uint64(3)


class Two(NamedTuple):
    """An argument of several parts."""

    numbers: Any
    shift: Any


def added(matrix: Any, two: Any, flag: Any) -> Any:
    """Something of every argument."""
    total = np.uint64(0)
    for row in range(matrix.shape[0]):
        for column in range(matrix.shape[1]):
            total += np.uint64(matrix[row, column])
    if flag:
        total = total * FACTOR + np.uint64(two.numbers[1]) + np.uint64(two.shift)
    return total, matrix.shape[0]


def is_large(number: Any) -> Any:
    """Whether the upper bit is set."""
    return number > np.uint64(1 << 63)


def fill(numbers: Any, value: Any) -> None:
    """Write, and return nothing."""
    for place in range(numbers.size):
        numbers[place] = value


def half_of(numbers: Any, by: Any) -> Any:
    """A division."""
    return numbers[0] // by


@pytest.fixture(autouse=True)
def folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Where these tests keep their kernels."""
    monkeypatch.setenv("MODECHECK_KERNELS", str(tmp_path))
    return tmp_path


def test_arguments_and_results_are_those_of_the_function() -> None:
    """Numbers, arrays of two dimensions, tuples, nothing."""
    whole = np.arange(24, dtype=np.uint32).reshape(4, 6)
    two = Two(np.array([5, 7], np.int64), 2)
    kernel = Kernel(added)
    for matrix in (whole, whole[1:3], whole.T.copy()):
        for flag in (True, False):
            assert kernel(matrix, two, flag) == added(matrix, two, flag)
    assert kernel(matrix=whole, two=two, flag=True) == added(whole, two, flag=True)
    assert Kernel(is_large)(np.uint64((1 << 63) + 1)) is True
    assert Kernel(is_large)(1 << 63) is False
    numbers = np.zeros(5, np.uint16)
    assert Kernel(fill)(numbers, 9) is None
    assert numbers.tolist() == [9] * 5


def test_what_was_kept_is_called_without_being_compiled(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By another kernel of the same function; not for other types, and not once it is damaged."""
    numbers = np.array([7, 8], np.int64)
    assert Kernel(half_of)(numbers, 2) == 3
    (kept,) = folder.iterdir()
    monkeypatch.setattr(native_kernel, "_compiled", None)
    assert Kernel(half_of)(numbers, 2) == 3
    with pytest.raises(TypeError):
        Kernel(half_of)(numbers.astype(np.int32), 2)
    kept.write_bytes(kept.read_bytes()[:-1])
    with pytest.raises(TypeError):
        Kernel(half_of)(numbers, 2)


def test_what_a_function_uses_belongs_to_its_key(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another constant, another function that it calls, other types: another key; a comment or a
    docstring: the same.
    """

    def key_of(function: Any, *arguments: Any) -> str:
        native_kernel._digest.cache_clear()
        return native_kernel.code_key(function, tuple(kind_of(one) for one in arguments))

    before = key_of(added, 1)
    assert key_of(added, 1) == before
    assert key_of(added, np.uint64(1)) != before
    assert key_of(is_large, 1) != before
    monkeypatch.setitem(globals(), "FACTOR", np.uint64(5))
    assert key_of(added, 1) != before
    monkeypatch.setitem(globals(), "FACTOR", 3)
    assert key_of(added, 1) != before, "it is typed otherwise"
    inner = Kernel(is_large)
    monkeypatch.setitem(globals(), "FACTOR", inner)
    of_inner = key_of(added, 1)
    inner.function = half_of
    assert key_of(added, 1) != of_inner
    one, other = ({"np": np} for _ in range(2))
    exec('def told(x):\n    "As it was."\n    return x + 1', one)  # noqa: S102 - our own text
    exec('def told(x):\n    "Said anew."\n    # and explained\n    return x + 1', other)  # noqa: S102
    assert key_of(one["told"], 1) == key_of(other["told"], 1)


def test_the_text_of_the_engine_belongs_to_every_key(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What an older engine made is not called by a newer one, although its version is the same."""
    rooms = ["engine/language", "engine/native", "engine/reference", "product"]
    package = Path(machine.__file__).parents[2]
    for room in (*rooms, "engine/reductions"):
        copytree(package / room, tmp_path / room, ignore=ignore_patterns("__pycache__"))
    monkeypatch.setattr(machine, "__file__", str(tmp_path / "engine/native/machine.py"))
    monkeypatch.setattr(object_cache, "__file__", str(tmp_path / "engine/language/cache.py"))
    seen = {key_of_engine()}
    for room in rooms:
        (tmp_path / room / "__init__.py").write_text(f"'Edited in {room}.'", encoding="utf-8")
        seen.add(key_of_engine())
    assert len(seen) == 1 + len(rooms)


def test_a_folder_without_modules_has_no_digest(tmp_path: Path) -> None:
    """A folder that was renamed would otherwise be left out of every key, and nobody would know."""
    with pytest.raises(FileNotFoundError):
        object_cache.digest_of(tmp_path)


def key_of_engine() -> str:
    """What stands for the engine's text in the key of a product's code."""
    kept = (object_cache.compiler, machine.product_compiler, machine.product_sources)
    for known in kept:
        known.cache_clear()
    key: str = machine.product_compiler()
    for known in kept:
        known.cache_clear()
    return key
