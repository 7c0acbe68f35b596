"""Threads that spread over a graph together find what one finds, in the same order."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.native.graph import CompiledExploration, as_compiled
from modecheck.engine.search import spreading
from modecheck.engine.search.spreading import Spreading
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.generation.devices import Drawn, devices

pytestmark = pytest.mark.usefixtures("own_cache")


@pytest.fixture(autouse=True)
def _share_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Threads share three states of the same distance, two at a time."""
    monkeypatch.setattr(spreading, "LARGE", 3)
    monkeypatch.setattr(spreading, "PLACES_TOGETHER", 2)


def assert_threads_agree(product: Product) -> int:
    """From each condition, past each other one; how many states were reached in all."""
    space = as_compiled(explore_with(product, Search(engine="compiled", threads=1)))
    assert space is not None
    bits, reached = len(product.conditions), 0
    for bit in range(bits):
        for blocked in (0, 1 << (bit + 1) % bits, (1 << bits) - 1):
            for enters in (True, False):
                one, four = (
                    spread(space, 1 << bit, blocked, enters, threads) for threads in (1, 4)
                )
                assert np.array_equal(one.came_from, four.came_from)
                assert np.array_equal(one.inside, four.inside)
                assert np.array_equal(one.entered, four.entered)
                reached += len(one.inside)
    return reached


def spread(
    space: CompiledExploration, starts: int, blocked: int, enters: bool, threads: int
) -> Spreading:
    space.graph.threads = threads
    found = Spreading.of(space.graph, space.marks, blocked, enters=enters)
    found.run(starts, () if enters else np.cumsum(space.layers).tolist())
    return found


@pytest.mark.parametrize("name", ["faulty/trusts_an_old_flash", "small/advertising"])
def test_threads_spread_as_one_does(name: str) -> None:
    """What was reached from where, and in which order, is the same."""
    assert assert_threads_agree(compose(read_device(str(Path("models") / f"{name}.yaml")))) > 100


@pytest.mark.thorough
@given(devices())
@settings(max_examples=settings().max_examples // 5)
def test_threads_spread_as_one_does_over_random_devices(drawn: Drawn) -> None:
    """The same of random devices."""
    product = compose(drawn.read())
    if product.conditions:
        assert_threads_agree(product)
