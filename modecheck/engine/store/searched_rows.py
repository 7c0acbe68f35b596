"""Rows that are looked up in files."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.packed_rows import PackedRows, shape_of
from modecheck.engine.store.row_kernels import BLOCK
from modecheck.engine.store.searching_kernels import NOWHERE, find_last_words

Row = tuple[int, ...]
"""The words of a row. Rows are in the order of these."""


def last_words(told: PackedRows, rows: Words) -> NDArray[np.uint32]:
    """Of each of some sorted rows the last word of the one, of packed rows that are one word
    longer, that begins with it, or `NOWHERE`.
    """
    found = np.full(rows.size // (told.width - 1), NOWHERE, np.uint32)
    find_last_words(
        rows, shape_of(told.width), told.packed, told.offsets, told.leading, told.count,
        np.empty(BLOCK * told.width, np.uint64), found,
    )  # fmt: skip
    return found
