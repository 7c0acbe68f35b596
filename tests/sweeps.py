"""Sweeps over many parameters: a few of them run always, all of them where tests are thorough.

`python -m pytest` leaves out what is marked `thorough`; `-m thorough` runs that alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

import pytest
from _pytest.mark import ParameterSet

T = TypeVar("T")


def sweep(values: Iterable[T], always: Callable[[T], bool]) -> list[ParameterSet]:
    """All values as parameters; those that do not run always are marked `thorough`."""
    return [
        pytest.param(value, marks=() if always(value) else pytest.mark.thorough) for value in values
    ]
