"""Kernels for a GPU: they become PTX without one, and do what they say also where CPython or one
thread of the processor runs them.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from modecheck.engine.gpu.explore_on_gpu import machine_of
from modecheck.engine.gpu.finding_kernels import find_states, reached_from
from modecheck.engine.gpu.gpu_product_code import code_of, write_reached
from modecheck.engine.gpu.host_device import HostDevice
from modecheck.engine.gpu.kernel_code import GpuKernel, ptx_of
from modecheck.engine.gpu.shared_table_kernels import (
    COUNTERS,
    FOUND,
    enter_numbers,
    enter_word,
    enter_words,
    number_in,
    refill_words,
)
from modecheck.engine.gpu.sharing_kernels import deal_states, enter_sent
from modecheck.engine.language.gpu_intrinsics import (
    add_together,
    high_product,
    take_several,
    take_several_each,
)
from modecheck.engine.language.kernel import interpreted
from tests.benchmarks.explore import counters, product_of

pytestmark = pytest.mark.usefixtures("own_cache")


def test_a_products_kernel_becomes_ptx() -> None:
    """No device is needed for it. What threads share is changed in one step, in global memory; what
    a thread has for itself is local to it.
    """
    machine = machine_of(product_of(counters(2)), ())
    kernel = code_of(machine, find_states, {"waiting": 8}, {reached_from: write_reached(machine)})
    text = ptx_of(kernel)
    assert text.count(".entry find_states(") == 1
    assert re.search(r"atom\.(relaxed\.)?((sys|gpu)\.)?global\.cas\.b64", text)
    assert "vote.sync.ballot" in text
    assert re.search(r"\.local \.align \d+ \.b8\s+__local_depot0\[64\]", text)
    assert "st.local.b64" in text


def test_what_is_sent_is_counted_for_each_address_apart() -> None:
    """Threads of a group may write to the outboxes of different devices at the same time."""
    text = ptx_of(GpuKernel(deal_states, 2, {"waiting": 2, "owners": 1}))
    assert "match.any.sync.b64" in text
    assert "match.any.sync.b64" not in ptx_of(GpuKernel(enter_sent, 2, {"waiting": 8}))


@pytest.mark.parametrize("kernel", [GpuKernel(refill_words), GpuKernel(enter_numbers, 2)])
def test_kernels_of_the_table_become_ptx(kernel: GpuKernel) -> None:
    """The same of kernels without a product's code."""
    assert f".entry {kernel.name}(" in ptx_of(kernel)


def test_a_table_keeps_each_word_once() -> None:
    """Of two equal words the second is known; a table that is full says so."""
    table = np.zeros(4, np.uint64)
    with interpreted(), np.errstate(over="ignore"):
        answers = [int(enter_word(table, np.uint64(word))) for word in (7, 9, 7, 0, 5, 9, 11)]
    assert answers == [1, 1, 0, 1, 1, 0, 2]


def test_a_table_of_numbers_compares_whole_states() -> None:
    """States that differ in their second word alone are two."""
    states, table = np.zeros(8, np.uint64), np.zeros(8, np.uint64)
    counters_, shape = np.zeros(COUNTERS, np.uint64), (0, 0)
    rows = [(3, 1), (3, 2), (3, 1), (4, 1)]
    waiting = np.array(rows, np.uint64).ravel()
    with interpreted(), np.errstate(over="ignore"):
        answers = [
            int(enter_words(shape, states, table, waiting, np.uint64(at), counters_, np.uint64(4)))
            for at in range(0, 8, 2)
        ]
        numbers = [
            int(number_in(shape, states, table, waiting, np.uint64(at))) for at in range(0, 8, 2)
        ]
    assert answers == [1, 1, 0, 1]
    assert counters_[FOUND] == 3
    assert states[:6].reshape(-1, 2).tolist() == [[3, 1], [3, 2], [4, 1]]
    assert numbers == [1, 2, 1, 3]


def test_a_state_without_room_is_not_lost_silently() -> None:
    """When there are as many states as there may be, the next one is refused, and so it is again:
    it does not count as known.
    """
    states, table = np.zeros(2, np.uint64), np.zeros(8, np.uint64)
    counters_, waiting = np.zeros(COUNTERS, np.uint64), np.array([3, 1, 3, 2], np.uint64)
    with interpreted(), np.errstate(over="ignore"):
        answers = [
            int(enter_words((0, 0), states, table, waiting, np.uint64(at), counters_, np.uint64(1)))
            for at in (0, 2, 2)
        ]
    assert answers == [1, 2, 2]


def test_one_thread_refills_a_table() -> None:
    """Every word is there afterwards, once."""
    device = HostDevice()
    words = np.arange(100, 150, dtype=np.uint64)
    states, table = device.array(50, np.uint64), device.array(70, np.uint64)
    counters_ = device.array(COUNTERS, np.uint64)
    device.write(states, words)
    device.launch(device.loaded(GpuKernel(refill_words)), 50, 0, 50, states, table, counters_)
    found = device.read(table)
    assert sorted(found[found != 0].tolist()) == (words + np.uint64(1)).tolist()
    assert not device.read(counters_).any()


def test_what_intrinsics_mean() -> None:
    """By CPython's integers, which have no end."""
    counter = np.zeros(1, np.uint64)
    assert high_product(2**63, 6) == 3
    assert [int(take_several(counter.ctypes.data, many)) for many in (3, 0, 2)] == [0, 3, 3]
    assert counter[0] == 5
    assert int(take_several_each(counter.ctypes.data, 4)) == 5
    add_together(counter.ctypes.data, 2**26 - 1)
    assert counter[0] == 9 + 2**26 - 1
