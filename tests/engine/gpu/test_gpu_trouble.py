"""What goes wrong on a GPU ends in a sentence, or is done elsewhere. The processor plays a device
that fails.
"""

from __future__ import annotations

import importlib.util
from typing import Any

import pytest

from modecheck.engine import choice
from modecheck.engine.choice import EngineUnavailable, Search, explore_with
from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.gpu import cuda_device
from modecheck.engine.gpu.device_memory import Argument, DeviceFailed
from modecheck.engine.gpu.explore_on_gpu import explore_on_gpu
from modecheck.engine.gpu.host_device import HostDevice, HostKernel
from modecheck.engine.search.exploration import Silent
from tests.benchmarks.explore import counters, product_of
from tests.cli.running import MODELS, run

pytestmark = pytest.mark.usefixtures("own_cache")

SMALL = MODELS / "small" / "advertising.yaml"
LOST = "the device answers CUDA_ERROR_LAUNCH_FAILED"


class Failing(HostDevice):
    """It works for some launches, and if it is to go on, after one that does not."""

    def __init__(self, launches: int, trouble: BaseException) -> None:
        super().__init__()
        self.left, self.trouble, self.goes_on = launches, trouble, False

    def launch(self, loaded: HostKernel, work: int, *arguments: Argument) -> None:
        self.left -= 1
        if self.left == -1 or (self.left < 0 and not self.goes_on):
            raise self.trouble
        super().launch(loaded, work, *arguments)


@pytest.fixture
def use(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Have a device be the GPU."""

    def use(device: HostDevice) -> None:
        monkeypatch.setattr(cuda_device, "why_no_gpu", lambda: "")
        monkeypatch.setattr(cuda_device, "all_gpus", lambda: [device])
        found = importlib.util.find_spec
        monkeypatch.setattr(
            importlib.util, "find_spec", lambda name: found("json" if name == "cuda" else name)
        )

    return use


def test_a_lost_device_is_told_in_a_sentence(use: Any) -> None:
    """Where the engine was asked for, wherever it was lost."""
    for launches in (0, 4):
        use(Failing(launches, DeviceFailed(LOST)))
        with pytest.raises(EngineUnavailable) as raised:
            explore_with(product_of(counters(4)), Search(engine="gpu", threads=1))
        assert str(raised.value) == f"the gpu engine cannot explore this product: {LOST}"


def test_too_little_memory_for_anything_is_told(use: Any) -> None:
    """Not even the first states have room."""
    use(HostDevice(memory=1000))
    with pytest.raises(EngineUnavailable, match="its memory is too small, or taken by others"):
        explore_with(product_of(counters(4)), Search(engine="gpu", threads=1))


def test_the_command_ends_with_2(use: Any) -> None:
    """As for everything that was asked for and cannot be had; without a traceback."""
    use(Failing(0, DeviceFailed(LOST)))
    result = run("check", str(SMALL), "--engine", "gpu", "--no-cache")
    assert result.code == 2
    assert result.err.strip() == f"the gpu engine cannot explore this product: {LOST}"


@pytest.mark.thorough
def test_another_engine_goes_on_where_none_was_asked_for(use: Any) -> None:
    """A product that is large is explored by the processor if the device fails."""
    device = Failing(4, DeviceFailed(LOST))
    use(device)
    how = Search(engine="auto", threads=1, expected=choice.OPTIMISED_FROM)
    space = explore_with(product_of(counters(4)), how)
    assert device.left < 0
    assert space.complete
    assert space.state_count == 8**4


def test_a_large_product_goes_to_the_device(use: Any) -> None:
    """Where none was asked for and there is a device."""
    device = Failing(1 << 30, DeviceFailed(LOST))
    use(device)
    how = Search(engine="auto", threads=1, expected=choice.OPTIMISED_FROM)
    assert explore_with(product_of(counters(4)), how).state_count == 8**4
    assert device.left < 1 << 30


def test_an_interruption_reports_what_was_found() -> None:
    """States that were found are told."""
    device = Failing(6, KeyboardInterrupt())
    device.goes_on = True
    found = explore_on_gpu(
        product_of(counters(4)), [device], threads=1, limits=Limits(), reporter=Silent()
    )
    assert found.stopped_by == INTERRUPTION
    assert 1 < found.state_count < 8**4


def test_a_bound_of_seconds_stops_it() -> None:
    """It is looked at after each launch."""
    found = explore_on_gpu(
        product_of(counters(4)), [HostDevice()], threads=1, limits=Limits(seconds=1e-9),
        reporter=Silent(),
    )  # fmt: skip
    assert found.stopped_by == Limits(seconds=1e-9).reached_seconds
