"""The engine for a GPU. Its kernels also run by one thread of the processor, so that what they do
is compared with the compiled engine wherever the tests run; what a real device does is compared
where there is one (`python -m tests.benchmarks.gpu` has run on one, its results are kept).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings

from modecheck.engine.choice import EngineUnavailable, Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.engine.gpu import found_states, gpu_looking, gpu_reach
from modecheck.engine.gpu.cuda_device import first_gpu, why_no_gpu
from modecheck.engine.gpu.device_memory import KernelDevice
from modecheck.engine.gpu.explore_on_gpu import explore_on_gpu, machine_of
from modecheck.engine.gpu.found_states import states_that_fit
from modecheck.engine.gpu.gpu_reach import LEFT_FREE, GpuReach
from modecheck.engine.gpu.host_device import HostDevice
from modecheck.engine.native.graph import CompiledExploration, as_compiled
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.benchmarks.explore import counters, product_of
from tests.engine.native.test_table import WIDE
from tests.generation.devices import Drawn, devices
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

TWO_WORDS = counters(2) + WIDE.strip("\n") + "\n"
FIVE_AND_TWO_WORDS = counters(5) + WIDE.strip("\n") + "\n"
FAULTY = Path("models/faulty/trusts_an_old_flash.yaml")
"""It has failing steps, and may begin in several states."""
BUNDLED = [
    *sorted(Path("models/small").glob("*.yaml")),
    *sorted(Path("models/faulty").glob("*.yaml")),
]


def on_gpu(
    product: Product,
    *devices: KernelDevice,
    limits: Limits | None = None,
) -> CompiledExploration:
    how, own = limits or Limits(), devices or (HostDevice(),)
    return explore_on_gpu(product, own, threads=1, limits=how, reporter=Silent())


def assert_identical(product: Product, *devices: KernelDevice) -> None:
    """Everything is the same as what the compiled engine finds, numbers and order included."""
    native = as_compiled(explore_with(product, Search(engine="compiled", threads=1)))
    assert native is not None
    found = on_gpu(product, *devices)
    for one, two in zip(_arrays(native), _arrays(found), strict=True):
        assert np.array_equal(one, two)
    assert (native.layers, native.expanded) == (found.layers, found.expanded)
    assert (native.transitions, native.stopped_by) == (found.transitions, found.stopped_by)
    assert native.failures == found.failures
    assert native.observed == found.observed


def _arrays(space: CompiledExploration) -> Iterator[Any]:
    graph = space.graph
    yield from (space.found.words, space.marks, graph.first, graph.targets, graph.notes)
    yield from (graph.labels, graph.moved, graph.events, graph.is_quiescent, graph.failing)


def test_states_of_several_words_are_found_and_numbered() -> None:
    """Longer states stand outside the table, which has their numbers."""
    assert_identical(product_of(TWO_WORDS))


def test_room_that_runs_out_grows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever room there is at first, all states are found, and no transition is counted twice."""
    monkeypatch.setattr(gpu_reach, "ROOM_A_THREAD", 3)
    monkeypatch.setattr(found_states, "GROWTH", 2)
    assert_identical(product_of(TWO_WORDS))
    assert_identical(product_of(counters(2)))


@pytest.mark.parametrize("text", [counters(5), FIVE_AND_TWO_WORDS], ids=["one word", "two words"])
def test_a_memory_is_filled_to_the_end(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whenever room runs out, there is enough left to move to a larger one: at last as many states
    are there as fit.
    """
    monkeypatch.setattr(gpu_reach, "ROOM_A_THREAD", 150)
    machine, memory = machine_of(product_of(text), ()), 300_000
    found = GpuReach([HostDevice(memory)], machine, Limits(), Silent()).run()
    assert found.stopped_by == "lack of memory of the processor"
    assert found.count > 0.95 * states_that_fit(int(memory * (1 - LEFT_FREE)), machine.layout.words)


class Crowded(HostDevice):
    """Somebody else takes the memory that it would need to grow."""

    def array(self, count: int, kind: Any, fill: int | None = 0) -> Any:
        if count > 3_000:
            raise MemoryError
        return super().array(count, kind, fill)


def test_memory_that_others_took_meanwhile_is_told() -> None:
    """States that were found are kept, though the table is given back before there is a larger
    one.
    """
    machine = machine_of(product_of(counters(5)), ())
    found = GpuReach([Crowded()], machine, Limits(), Silent(), room=1_000).run()
    assert found.stopped_by == "lack of memory of the processor"
    assert 500 < found.count <= 1_000
    words = np.empty(found.count, np.uint64)
    found.read_into(words)
    assert len(set(words.tolist())) == found.count


def test_too_little_memory_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A product that does not fit is incomplete, with what was found."""
    monkeypatch.setattr(gpu_looking, "PART", 1 << 12)
    monkeypatch.setattr(gpu_reach, "LEFT_FREE", 0.6)
    found = on_gpu(product_of(counters(6)), HostDevice(memory=8_000_000))
    assert found.stopped_by == "lack of memory of the processor"
    assert 100_000 < found.state_count < 8**6
    assert found.expanded == sum(found.layers[:-1]) - found.layers[-2]


def test_a_bound_of_memory_counts_for_the_device() -> None:
    """`--memory` bounds what is taken there."""
    found = on_gpu(product_of(counters(4)), limits=Limits(memory=1 << 16))
    assert found.stopped_by == Limits(memory=1 << 16).reached_memory


@pytest.mark.thorough
def test_a_bound_of_states_keeps_the_first() -> None:
    """Of more states than are wanted the last ones are left out, and none counts as expanded whose
    successors are.
    """
    product = product_of(counters(4))
    whole, part = on_gpu(product), on_gpu(product, limits=Limits(states=100))
    assert part.stopped_by == "the bound of 100 states"
    assert part.state_count == 100
    assert part.expanded == sum(part.layers[:-1]) - part.layers[-2]
    assert np.array_equal(part.found.words, whole.found.words[:100])


@pytest.mark.skipif(not why_no_gpu(), reason="there is a GPU here")
def test_without_a_gpu_an_error_says_what_is_missing() -> None:
    """The engine that was asked for cannot be had, and the reason is named."""
    with pytest.raises(EngineUnavailable, match=r"^the gpu engine cannot explore this product: "):
        explore_with(product_of(counters(2)), Search(engine="gpu"))


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == FAULTY), ids=str)
def test_bundled_devices_are_explored_alike(path: Path) -> None:
    """The same of each bundled device."""
    assert_identical(compose(read_device(str(path))))


@pytest.mark.thorough
@given(devices())
@settings(max_examples=settings().max_examples // 5)
def test_random_devices_are_explored_alike(drawn: Drawn) -> None:
    """The same of random devices."""
    assert_identical(compose(drawn.read()))


@pytest.mark.skipif(bool(why_no_gpu()), reason=f"no GPU: {why_no_gpu()}")
def test_a_gpu_finds_the_same() -> None:
    """The same on the device itself."""
    for text in (counters(5), TWO_WORDS):
        assert_identical(product_of(text), first_gpu())
