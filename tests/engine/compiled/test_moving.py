"""States that move to one partition where levels are small, or to several where they are large."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.compiled import balance, partitions, reach
from modecheck.engine.compiled.exploration import CompiledExploration
from modecheck.engine.compiled.kernels import expand_small_levels
from modecheck.engine.compiled.partitions import Partition
from modecheck.engine.space import Limits
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.form import Product
from tests.benchmarks.explore import counters

pytestmark = pytest.mark.usefixtures("own_cache")


@pytest.fixture(scope="module")
def products(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Product]:
    """Five octal counters, of one word a state, with small levels at both ends and large ones
    between; and a twin of tandem, of longer states, with steps that fail.
    """
    path = Path(tmp_path_factory.mktemp("octal")) / "device.yaml"
    path.write_text(counters(5), encoding="utf-8")
    failing = "models/faulty/queue_exhausted.yaml"
    return {
        "octal": compose(read_device(str(path))),
        "tandem": compose(read_device("models/tandem/device.yaml")),
        "failing": compose(read_device(failing)),
    }


def explored(product: Product, threads: int, limits: Limits | None = None) -> CompiledExploration:
    how = Search(engine="compiled", threads=threads, limits=limits or Limits(), expected=1)
    space = explore_with(product, how)
    assert isinstance(space, CompiledExploration)
    return space


def assert_same(one: CompiledExploration, two: CompiledExploration) -> None:
    """The same states with the same numbers, the same transitions, and the same seen beside."""
    assert np.array_equal(one.found.words, two.found.words)
    assert (one.layers, one.transitions) == (two.layers, two.transitions)
    assert np.array_equal(one.graph.targets, two.graph.targets)
    assert one.observed == two.observed
    assert one.stopped_by == two.stopped_by
    failures = [
        {key: (seen.state, seen.label, seen.count) for key, seen in space.failures.items()}
        for space in (one, two)
    ]
    assert failures[0] == failures[1]


@pytest.mark.parametrize("name", ["octal", "tandem", "failing"])
@pytest.mark.parametrize("threads", [2, 3])
def test_nothing_depends_on_where_states_have_moved(
    products: dict[str, Product], name: str, threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither on how often, nor on the number of partitions. Here they move to several at the third
    level and back two levels later, again and again.
    """
    alone = explored(products[name], 1)
    moved: list[int] = []
    adopt = Partition.adopt

    def noted(partition: Partition, others: list[Partition]) -> None:
        moved.append(partition.count)
        adopt(partition, others)

    monkeypatch.setattr(Partition, "adopt", noted)
    monkeypatch.setattr(Partition, "expand_small_levels", lambda *_: 0)
    monkeypatch.setattr(
        balance.Balance, "add", lambda self, _: setattr(self, "lost", self.lost + 1)
    )
    monkeypatch.setattr(balance.Balance, "is_tipped", lambda self, _: self.lost == 2)
    often = explored(products[name], threads)
    assert_same(alone, often)
    assert {1, threads} <= set(moved)


def test_small_levels_are_expanded_alike(
    products: dict[str, Product], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Many together in one call, or each by itself."""
    together = explored(products["failing"], 1)
    monkeypatch.setattr(Partition, "expand_small_levels", lambda *_: 0)
    assert_same(together, explored(products["failing"], 1))


def test_states_stay_where_memory_does_not_allow_for_both(
    products: dict[str, Product], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing moves, and nothing else is missing."""
    alone = explored(products["octal"], 1)
    asked: list[int] = []

    def tipped(present: balance.Balance, _: int) -> bool:
        asked.append(present.partitions)
        return True

    monkeypatch.setattr(balance.Balance, "is_tipped", tipped)
    monkeypatch.setattr(reach, "GROWTH", 1e12)
    monkeypatch.setattr(Partition, "adopt", lambda *_: pytest.fail("states have moved"))
    assert_same(alone, explored(products["octal"], 2))
    assert asked == [1]


def test_an_interruption_between_small_levels_loses_none(
    products: dict[str, Product], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told behind the kernel: the levels found by then are told, with a way to each state."""
    whole = explored(products["tandem"], 1)
    calls: list[int] = []

    def interrupted(*arguments: object) -> None:
        expand_small_levels(*arguments)
        calls.append(1)
        if len(calls) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(partitions, "MOST_LEVELS", 4)
    monkeypatch.setattr(partitions, "expand_small_levels", interrupted)
    space = explored(products["tandem"], 1)
    assert space.stopped_by == "an interruption"
    assert space.layers == whole.layers[:6]
    assert space.expanded == sum(whole.layers[:5])
    assert len(space.path_to(space.state_count - 1)) == 5


@pytest.mark.parametrize("most", [1, 50, 5_000])
def test_a_bound_of_states_ends_small_levels(products: dict[str, Product], most: int) -> None:
    """No more states than that are kept, and the result says why."""
    space = explored(products["octal"], 1, Limits(states=most))
    assert (space.state_count, space.complete) == (most, False)
    assert space.stopped_by == f"the bound of {most:,} states"


def test_the_present_way_is_left_when_it_has_lost_what_moving_takes() -> None:
    """By the figures of the module: with small levels several threads lose, with large ones one
    does, and what was lost is made up for by levels of the other kind.
    """
    large, small = round(3 * balance.MEETING / balance.EXPANDING), 1
    for count, bad, good in ((1, large, small), (2, small, large)):
        present = balance.Balance(count, 2)
        states = round(2 * balance.MEETING / balance.MOVING)
        present.add(good)
        assert not present.is_tipped(0)
        levels = 0
        while not present.is_tipped(states):
            present.add(bad)
            levels += 1
        assert 1 < levels < 10
        for _ in range(levels):
            present.add(good)
        assert not present.is_tipped(states)
