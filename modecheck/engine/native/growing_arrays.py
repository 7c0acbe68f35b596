"""Arrays that grow in place.

An array is reserved at its largest size and takes memory only where it has been written to, so that
growing copies nothing and never needs the old and the new array at once. Where the system cannot
reserve without taking, plain arrays are used, which double.
"""

from __future__ import annotations

import mmap
import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.uint64]
WHOLE_WORD = np.dtype(np.uint64)

PIECE = 1 << 21
"""Bytes that are given back together: a huge page, which would else be broken into small ones."""
_NO_RESERVE = getattr(mmap, "MAP_NORESERVE", 0x4000 if sys.platform == "linux" else 0)


class Reserved:
    """An array of words, all zero at first, of which only written pages take memory."""

    def __init__(
        self, size: int, kind: np.dtype[Any] = WHOLE_WORD, *, huge_pages: bool = False
    ) -> None:
        flags = mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS | _NO_RESERVE
        self._region = mmap.mmap(-1, max(size, 1) * kind.itemsize, flags=flags)
        if huge_pages and hasattr(mmap, "MADV_HUGEPAGE"):
            # Random probes into a table of gigabytes otherwise miss the TLB every time.
            self._region.madvise(mmap.MADV_HUGEPAGE)
        self.array: NDArray[Any] = np.frombuffer(self._region, kind)

    def free(self, begin: int, end: int) -> None:
        """Give back what some bytes take, as whole pieces of `PIECE` bytes. Those up to `end`, and
        in the first one's piece those before it, too, hold anything then.
        """
        first, last = (place // PIECE * PIECE for place in (begin, end))
        if first < last and hasattr(mmap, "MADV_DONTNEED"):
            self._region.madvise(mmap.MADV_DONTNEED, first, last - first)

    @property
    def words(self) -> Words:
        """The array, of whole words."""
        return self.array
