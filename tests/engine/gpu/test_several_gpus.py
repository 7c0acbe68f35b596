"""Several devices find together what one finds. Here processors in place of GPUs, whose memory is
counted for each; where there are several GPUs, these.
"""

from __future__ import annotations

from collections.abc import Container
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings

from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.gpu import found_states, gpu_looking, gpu_reach, gpu_team
from modecheck.engine.gpu.cuda_device import all_gpus, why_no_gpu
from modecheck.engine.gpu.device_memory import Argument, DeviceFailed
from modecheck.engine.gpu.explore_on_gpu import TOO_MANY_STATES, explore_on_gpu, machine_of
from modecheck.engine.gpu.gpu_reach import GpuReach
from modecheck.engine.gpu.host_device import HostDevice, HostKernel
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.benchmarks.explore import counters, product_of
from tests.engine.gpu.test_exploring_on_gpu import BUNDLED, TWO_WORDS, assert_identical, on_gpu
from tests.generation.devices import Drawn, devices
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

FAULTY = Path("models/faulty/trusts_an_old_flash.yaml")
MEMORY = 300_000
LOST = "the device answers CUDA_ERROR_LAUNCH_FAILED"


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """All devices work as soon as there are some states, and have little room at first."""
    monkeypatch.setattr(gpu_reach, "SPREAD_FROM", 5)
    monkeypatch.setattr(gpu_reach, "BEGUN_AFTER", 0.0)
    monkeypatch.setattr(gpu_reach, "ROOM_A_THREAD", 50)


def hosts(count: int, memory: int | None = None) -> list[HostDevice]:
    return [HostDevice(memory) for _ in range(count)]


@pytest.mark.parametrize(("count", "text"), [(2, counters(3)), (3, TWO_WORDS)])
def test_several_devices_find_the_same(count: int, text: str) -> None:
    """States are numbered alike, whatever device has them, and no transition is counted twice;
    whether devices can read what others wrote or have to copy it.
    """
    for copies in (False, True):
        own = [HostDevice(copies=copies) for _ in range(count)]
        assert_identical(product_of(text), *own)


def test_an_outbox_that_runs_over_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """It has room for what one state leads to; what was sent before is sent again."""
    monkeypatch.setattr(gpu_team, "SENT_A_THREAD", 1)
    monkeypatch.setattr(found_states, "GROWTH", 2)
    for text in (counters(3), TWO_WORDS):
        assert_identical(product_of(text), *hosts(3))


def test_all_devices_have_a_share() -> None:
    """Of counters as many states within a tenth, and all memory is given back with the space."""
    machine, own = machine_of(product_of(counters(4)), ()), hosts(3)
    found = GpuReach(own, machine, Limits(), Silent()).run()
    shares = [room.count for room in found.rooms]
    assert sum(shares) == found.count == 8**4
    assert max(shares) < 1.1 * 8**4 / 3
    found.give_back()
    assert [one.taken for one in own] == [0, 0, 0]


class NotBegun(HostDevice):
    """Beginning to use it would take a second."""

    is_begun = False


@pytest.mark.parametrize(("seconds", "rooms"), [(0.0, 2), (1e6, 1)])
def test_devices_are_begun_when_another_has_worked_for_a_while(
    seconds: float, rooms: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not for what is done before they would be ready."""
    monkeypatch.setattr(gpu_reach, "BEGUN_AFTER", seconds)
    machine = machine_of(product_of(counters(3)), ())
    found = GpuReach([HostDevice(), NotBegun()], machine, Limits(), Silent()).run()
    assert (len(found.rooms), found.count) == (rooms, 8**3)


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == FAULTY), ids=str)
def test_bundled_devices_are_explored_alike_by_several(path: Path) -> None:
    """The same of each bundled device."""
    assert_identical(compose(read_device(str(path))), *hosts(2))


@pytest.mark.thorough
@given(devices())
@settings(max_examples=settings().max_examples // 5)
def test_random_devices_are_explored_alike_by_several(drawn: Drawn) -> None:
    """The same of random devices, by two and by three."""
    product = compose(drawn.read())
    for count in (2, 3):
        assert_identical(product, *hosts(count))


def test_two_memories_hold_more_than_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device that is full hands over to all, in the middle of a level; and what is full at last
    has most of what fits into both.
    """
    monkeypatch.setattr(gpu_reach, "SPREAD_FROM", 1 << 30)
    machine, counts = machine_of(product_of(counters(5)), ()), []
    for own in hosts(1, MEMORY), hosts(2, MEMORY):
        found = GpuReach(own, machine, Limits(), Silent()).run()
        assert found.stopped_by == "lack of memory of the processor"
        counts.append(found.count)
        found.give_back()
        assert not any(one.taken for one in own)
    assert counts[0] > MEMORY / 20
    assert counts[1] > 1.5 * counts[0]


def test_states_that_do_not_fit_on_one_device_are_incomplete(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """All are found and looked at part by part, but their transitions need all of them at once."""
    monkeypatch.setattr(gpu_looking, "PART", 1 << 8)
    product = product_of(counters(4))
    whole = on_gpu(product)
    found = explore_on_gpu(
        product,
        [Refusing([8**4]), Refusing([8**4])],
        threads=1,
        limits=Limits(),
        reporter=Silent(),
        sweeps=True,
    )
    assert found.stopped_by == TOO_MANY_STATES
    assert not found.is_swept
    assert np.array_equal(found.found.words, whole.found.words)
    assert np.array_equal(found.marks, whole.marks)
    assert found.transitions == whole.transitions
    assert found.observed == whole.observed


class Refusing(HostDevice):
    """It has memory, but not for an array of some sizes."""

    def __init__(self, sizes: Container[int]) -> None:
        super().__init__()
        self.sizes = sizes

    def array(self, count: int, kind: Any, fill: int | None = 0) -> Any:
        if count in self.sizes:
            raise MemoryError
        return super().array(count, kind, fill)


def test_less_room_is_taken_where_others_took_what_was_free() -> None:
    """Between asking how much is free and taking it."""
    assert_identical(product_of(counters(2)), Refusing(range(40, 60)))


class Failing(HostDevice):
    """It works for so many launches, then it is in trouble; if it is to go on, only once."""

    def __init__(self, launches: int, trouble: BaseException, *, goes_on: bool = False) -> None:
        super().__init__()
        self.left, self.trouble, self.goes_on = launches, trouble, goes_on

    def launch(self, loaded: HostKernel, work: int, *arguments: Argument) -> None:
        self.left -= 1
        if self.left == -1 or (self.left < 0 and not self.goes_on):
            raise self.trouble
        super().launch(loaded, work, *arguments)


@pytest.mark.parametrize("launches", [0, 1, 7])
def test_a_device_lost_among_several_is_told(launches: int) -> None:
    """Whichever it is, and whenever: nothing is reported of what the others found, and they give
    back what they had.
    """
    for lost in (0, 1):
        own = hosts(2)
        own[lost] = Failing(launches, DeviceFailed(LOST))
        with pytest.raises(DeviceFailed, match=LOST):
            on_gpu(product_of(counters(3)), *own)
        assert [one.taken for one in own] == [0, 0]


def test_an_interruption_of_several_reports_what_was_found() -> None:
    """Levels that were complete are told."""
    product = product_of(counters(4))
    own = [HostDevice(), Failing(40, KeyboardInterrupt(), goes_on=True)]
    found, whole = on_gpu(product, *own), on_gpu(product)
    assert found.stopped_by == INTERRUPTION
    assert 1 < found.state_count < 8**4
    assert found.layers == whole.layers[: len(found.layers)]
    assert np.array_equal(found.found.words, whole.found.words[: found.state_count])


def test_bounds_hold_for_several_devices() -> None:
    """Of seconds, of states, and of memory, which they share."""
    product = product_of(counters(4))
    for limits, why in (
        (Limits(seconds=1e-9), Limits(seconds=1e-9).reached_seconds),
        (Limits(states=100), "the bound of 100 states"),
        (Limits(memory=1 << 16), Limits(memory=1 << 16).reached_memory),
    ):
        found = on_gpu(product, *hosts(2), limits=limits)
        assert found.stopped_by == why
        assert found.state_count < 8**4


TWO_GPUS = pytest.mark.skipif(
    bool(why_no_gpu()) or len(all_gpus()) < 2,
    reason=f"no two GPUs: {why_no_gpu() or 'there is one'}",
)


@TWO_GPUS
@pytest.mark.parametrize("text", [counters(6), TWO_WORDS], ids=["one word", "two words"])
def test_several_gpus_find_the_same(text: str) -> None:
    """The same on the devices themselves."""
    assert_identical(product_of(text), *all_gpus())


@TWO_GPUS
@pytest.mark.parametrize("text", [counters(3), TWO_WORDS], ids=["one word", "two words"])
def test_gpus_whose_room_and_outboxes_run_out_find_the_same(
    text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rooms have to grow, and an outbox has room for what one state leads to."""
    monkeypatch.setattr(gpu_reach, "ROOM_A_THREAD", 0)
    monkeypatch.setattr(found_states, "GROWTH", 2)
    monkeypatch.setattr(gpu_team, "SENT_A_THREAD", 0)
    assert_identical(product_of(text), *all_gpus())


@TWO_GPUS
@pytest.mark.parametrize("path", [FAULTY, Path("models/small/advertising.yaml")], ids=str)
def test_bundled_devices_are_explored_alike_by_gpus(path: Path) -> None:
    """Devices with failing steps, several initial states and events."""
    assert_identical(compose(read_device(str(path))), *all_gpus())


@TWO_GPUS
def test_many_states_are_dealt_out_in_the_middle(monkeypatch: pytest.MonkeyPatch) -> None:
    """When one device has found some hundred thousand of two million states."""
    monkeypatch.setattr(gpu_reach, "SPREAD_FROM", 400_000)
    assert_identical(product_of(counters(7)), *all_gpus())
