"""Walks and searches in machine code against the plain ones, with which they share no code."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.roaming.finite_tests import (
    can_go_bad,
    composed,
    watch_list,
    without_idle_conditions,
)
from modecheck.engine.native.compiled_walks import CompiledSearcher, CompiledWalker
from modecheck.engine.search.bounded_search import PlainSearcher
from modecheck.engine.search.walk_targets import (
    AT,
    DEADLOCK,
    TIME_STOP,
    WalkTarget,
    WatchList,
    waiting_pattern,
)
from modecheck.engine.search.walking import MOST_KEPT, PlainWalker
from modecheck.model.devices import read_device
from modecheck.product.ir import Product
from tests.generation.devices import Drawn, devices
from tests.models.bundled import name_of
from tests.sweeps import sweep

BUNDLED = [
    *sorted(Path("models/faulty").glob("*.yaml")),
    Path("models/starter/device.yaml"),
    Path("models/tandem/device.yaml"),
]
EXAMPLES = settings().max_examples * 3 // 5


pytestmark = pytest.mark.usefixtures("own_cache")


def walked_product(path: Path) -> tuple[Product, WatchList]:
    """The product with all its observers, as roam walks through it."""
    device = read_device(str(path))
    names = [need.name for need in device.requirements.values() if can_go_bad(device, need)]
    product = composed(device, names)
    return without_idle_conditions(product, watch_list(product))


def assert_same_walks(
    product: Product,
    watched: WatchList,
    *,
    depth: int,
    runs: int,
    most_kept: int = MOST_KEPT,
) -> PlainWalker:
    """The same steps, states, encounters, switches and sights, with the same runs to them. Of steps
    of one state that show the same, each engine keeps the one that it lists first.
    """
    plain = PlainWalker(product, watched, seed=11, depth=depth, most_kept=most_kept)
    compiled = CompiledWalker(product, watched, seed=11, depth=depth, most_kept=most_kept)
    plain.walk(runs)
    compiled.walk(runs // 2)
    compiled.walk(runs - runs // 2)
    assert compiled.tally == plain.tally
    assert compiled.switches == plain.switches
    assert compiled.observed.taken == plain.observed.taken
    assert compiled.observed.encounters == plain.observed.encounters
    one, two = compiled.new_targets(), plain.new_targets()
    assert one.keys() == two.keys()
    assert {target: run[:-1] for target, run in one.items()} == {
        s: run[:-1] for s, run in two.items()
    }
    assert all(len(run) == len(two[target]) for target, run in one.items())
    return plain


FEW = {"starter", "volatile_bond", "late_answer", "queue_exhausted", "usurpation"}


@pytest.mark.parametrize(
    "path",
    sweep(BUNDLED, lambda path: name_of(path) in FEW),
    ids=lambda path: f"{path.parent.name}-{path.stem}",
)
def test_both_walk_the_same_way_through_bundled_devices(path: Path) -> None:
    """From one seed, whatever the engine."""
    assert_same_walks(*walked_product(path), depth=60, runs=30)


@settings(max_examples=EXAMPLES)
@given(devices(starts=True) | devices(starts=True, timed=True))
def test_both_walk_the_same_way_through_random_devices(drawn: Drawn) -> None:
    """Whatever a device is made of."""
    product = composed(drawn.read(), [])
    product, watched = without_idle_conditions(product, watch_list(product))
    assume(product.bits < 500)
    assert_same_walks(product, watched, depth=20, runs=12)


@pytest.mark.thorough
def test_both_let_go_of_the_same_half() -> None:
    """A sample without room for all states is the same sample."""
    product, watched = walked_product(Path("models/tandem/device.yaml"))
    plain = assert_same_walks(product, watched, depth=60, runs=60, most_kept=256)
    assert plain.tally.halvings > 0


def test_no_search_takes_a_time_stop_for_a_deadlock() -> None:
    """Where time stops the pedal waits outside its rest states, too, and nowhere else."""
    product, watched = walked_product(Path("models/faulty/repeats_before_it_may.yaml"))
    for searcher in (PlainSearcher(product, watched), CompiledSearcher(product, watched)):
        run = searcher.nearest(product.initial, WalkTarget(TIME_STOP), bound=100)
        assert run is not None
        assert len(run) == 2
        stopped = run[-1][1]
        assert stopped is not None
        waiting = WalkTarget(DEADLOCK, pattern=waiting_pattern(product, stopped))
        assert searcher.nearest(product.initial, waiting, bound=100) is None


@pytest.mark.parametrize("name", ["volatile_bond", "credit_given_twice", "silent_plug"])
def test_both_search_the_same_distance(name: str) -> None:
    """To whatever was seen, and from the start to states along the way; each within its bound."""
    product, watched = walked_product(Path(f"models/faulty/{name}.yaml"))
    walker = CompiledWalker(product, watched, seed=2, depth=60)
    walker.walk(100)
    plain, compiled = PlainSearcher(product, watched), CompiledSearcher(product, watched)
    targets = walker.new_targets()
    assert targets
    for target, run in targets.items():
        states = [after for _, after in run if after is not None]
        goals = [target, *(WalkTarget(AT, pattern=tuple(enumerate(state))) for state in states[:3])]
        for goal in goals:
            one = plain.nearest(product.initial, goal, bound=3_000)
            two = compiled.nearest(product.initial, goal, bound=3_000)
            assert one is not None
            assert two is not None
            assert len(one) == len(two) <= len(run)
        assert compiled.nearest(product.initial, target, bound=1) is None or len(run) <= 1
