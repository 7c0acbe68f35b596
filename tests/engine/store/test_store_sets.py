"""Sets of states of a store: what each sweep finds is what it says, and what is asked of paths is
answered as in memory, however the states are divided.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast
from unittest import mock

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from modecheck.engine.choice import Search, explored_in_store
from modecheck.engine.large.swept_space import SweptSpace
from modecheck.engine.store import path_files, small_levels, store_sets
from modecheck.engine.store.swept_store import SweptStore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.benchmarks.explore import product_of
from tests.engine.gpu.swept import explored
from tests.engine.gpu.test_state_sets import assert_means_what_it_says
from tests.engine.gpu.test_swept_space import assert_finds_the_same, flags_of
from tests.generation.devices import Drawn, devices

pytestmark = pytest.mark.usefixtures("own_cache")

FAULTY = Path("models/faulty/trusts_an_old_flash.yaml")
"""It has failing steps, and may begin in several states."""


@contextmanager
def divided(few: int, states: int, together: int) -> Iterator[None]:
    """Levels of more than so many states are done by tasks, ranges have so many states at least,
    and tasks look at levels of so many states together.
    """
    with (
        mock.patch.object(small_levels, "FEW", few),
        mock.patch.object(path_files, "FEWEST_STATES", states),
        mock.patch.object(path_files, "LARGE", 0),
        mock.patch.object(store_sets, "TOGETHER", together),
    ):
        yield


def stored(product: Product, folder: str, threads: int = 1) -> SweptStore:
    space = explored_in_store(product, Search(store=folder, threads=threads), None)
    assert isinstance(space, SweptStore)
    return space


@pytest.mark.parametrize(("few", "states", "together"), [(4, 5, 3), (1000, 1000, 1000)])
def test_sweeps_mean_what_they_say(few: int, states: int, together: int, tmp_path: Path) -> None:
    """Of a device with failing steps and several starts."""
    graph = explored(compose(read_device(str(FAULTY))))
    with divided(few, states, together):
        space = stored(graph.product, str(tmp_path))
        assert_means_what_it_says(graph, space.sets, 1)


@pytest.mark.thorough
@given(devices(options=False), st.sampled_from((4, 1000)), st.integers(1, 50), st.integers(1, 50))
@settings(max_examples=settings().max_examples // 2)
def test_random_devices(drawn: Drawn, few: int, states: int, together: int) -> None:
    """Sweeps, and whatever is asked of paths."""
    graph = explored(compose(drawn.read()))
    assume(graph.state_count < 500)
    with divided(few, states, together), TemporaryDirectory() as folder:
        space = stored(graph.product, folder)
        assert_means_what_it_says(graph, space.sets, graph.state_count)
        assert_finds_the_same(graph, cast("SweptSpace", space))


def wide() -> str:
    """An invented device whose states take two words: a driver has one chip after the other choose
    a number, the first six of them between two.
    """
    chips = "\n".join(
        f"  c{n}: {{variables: {{x: {{range: [0, 7]}}}}, states: [s], rules: ["
        f"{{if: driver.state == d{n} and x == 0, do: x = 5}}, "
        f"{{if: driver.state == d{n} and x == 0 and {n} < 6, do: x = 3}}]}}"
        for n in range(24)
    )
    states = ", ".join(f"d{n}" for n in range(25))
    rules = ", ".join(f"{{in: d{n}, if: c{n}.x != 0, to: d{n + 1}}}" for n in range(24))
    return f"device: wide\nchips:\n  driver: {{states: [{states}], rules: [{rules}]}}\n{chips}\n"


@pytest.mark.thorough
def test_states_of_several_words(tmp_path: Path) -> None:
    """Are numbered in the same order."""
    graph = explored(product_of(wide()))
    with divided(4, 50, 100):
        space = stored(graph.product, str(tmp_path))
    assert space.sets.layers == graph.layers
    assert graph.found.width > 1
    last = graph.state_count - 1
    for number in range(0, last, 97):
        assert space.state(number) == graph.state(number)
        assert space.edges_from(number) == graph.edges_from(number)
    assert space.path_to(last) == graph.path_to(last)
    found = space.can_reach_states([last])
    assert flags_of(found, last + 1) == list(graph.can_reach_states([last]))
