"""What the machine can do at all: random probes into a table, asked for ahead, nothing else."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from modecheck.engine.language.intrinsics import prefetch
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.native.growing_arrays import Reserved
from modecheck.engine.native.table_kernels import mixed

BATCH = 256


@Kernel
def _probe(table: Any, size: Any, count: Any, slots: Any) -> Any:
    """Look at `count` slots chosen by the hash of a counter, a batch ahead."""
    base, sum_ = np.uint64(table.ctypes.data), np.uint64(0)
    number = np.uint64(0)
    for _ in range(count // BATCH):
        for place in range(BATCH):
            hash_ = mixed(np.uint64(0), number)
            number += np.uint64(1)
            slots[place] = ((hash_ >> np.uint64(32)) * size) >> np.uint64(32)
            prefetch(base + slots[place] * np.uint64(8))
        for place in range(BATCH):
            sum_ += table[slots[place]]
    return sum_


def probes_a_second(slots: int, count: int = 40_000_000) -> float:
    """Probes a second into a table of that many slots, all of them in memory."""
    region = Reserved(slots, huge_pages=True)
    region.words[:] = 1
    batch = np.zeros(BATCH, np.uint64)
    _probe(region.words, np.uint64(slots), BATCH, batch)
    began = time.thread_time()
    _probe(region.words, np.uint64(slots), count, batch)
    return count / (time.thread_time() - began)
