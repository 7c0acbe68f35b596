"""Random walks: the numbers they are drawn with, and the sample of states that they keep."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from modecheck.checks.roaming.finite_tests import composed, watch_list, without_idle_conditions
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.walk_targets import WatchList
from modecheck.engine.search.walking import (
    GOLDEN,
    Dice,
    PlainWalker,
    StateSample,
    hash_of,
    race_time,
    scrambled,
)
from modecheck.model.devices import read_device
from modecheck.product.ir import Product

STARTER = Path("models/starter/device.yaml")


def watched(path: Path) -> tuple[Product, WatchList]:
    """A bundled product and all that is watched in it, without observers."""
    product = composed(read_device(str(path)), [])
    return without_idle_conditions(product, watch_list(product))


def test_the_generator_is_the_published_one() -> None:
    """Splitmix64 (Steele, Lea & Flood 2014) from 1234567: its first two numbers, from memory."""
    first, second = 1234567 + GOLDEN, 1234567 + 2 * GOLDEN
    within = (1 << 64) - 1
    assert scrambled(first & within) == 6457827717110365317
    assert scrambled(second & within) == 3203168211198807973


@pytest.mark.parametrize("shift", [0, 1, 3])
def test_a_race_is_won_by_weight(shift: int) -> None:
    """Of two steps, one with a weight of 2^-shift, each wins as often as its share of weight."""
    dice, tries = Dice(5, 0), 20_000
    lost = sum(race_time(dice.number()) << shift < race_time(dice.number()) for _ in range(tries))
    share = 2**-shift / (1 + 2**-shift)
    assert lost / tries == pytest.approx(share, abs=0.015)


def test_dice_are_even() -> None:
    """Each of some numbers comes about as often as the others."""
    dice = Dice(1, 7)
    counts = Counter(dice.below(6) for _ in range(12_000))
    assert set(counts) == set(range(6))
    assert all(count == pytest.approx(2_000, rel=0.1) for count in counts.values())


def test_a_walk_takes_steps_that_the_product_has() -> None:
    """Every run to something seen can be taken on the interpreter, step by step."""
    product, watches = watched(Path("models/faulty/volatile_bond.yaml"))
    walker = PlainWalker(product, watches, seed=3, depth=40)
    walker.walk(30)
    targets = walker.new_targets()
    assert targets
    for run in targets.values():
        state = product.initial
        for label, after in run:
            steps = {(step.label, step.after) for step in Interpreter(product).steps(state)}
            assert (label, after) in steps
            state = after if after is not None else state


def test_no_run_is_longer_than_the_depth() -> None:
    """The way to a state from the archive counts, too."""
    product, watches = watched(STARTER)
    walker = PlainWalker(product, watches, seed=1, depth=9)
    walker.walk(60)
    assert walker.tally.steps <= 60 * 9
    assert all(len(run) <= 10 for run in walker.new_targets().values())


def test_another_seed_walks_another_way() -> None:
    """The seed decides."""
    product, watches = watched(STARTER)
    tallies = set()
    for seed in (1, 1, 2):
        walker = PlainWalker(product, watches, seed=seed, depth=30)
        walker.walk(20)
        tallies.add(walker.tally)
    assert len(tallies) == 2


def test_a_halved_sample_still_tells_how_many_there_are() -> None:
    """Of 20,000 states with room for 1,000 the number is estimated within a tenth: the
    error to be expected is 1.2 / sqrt(number kept), a twentieth (Flajolet 1990).
    """
    sample = StateSample(1_000)
    for number in range(20_000):
        sample.need_room(1)
        for _ in range(1 + (number % 2)):
            sample.visit(hash_of([number]))
    tally = sample.tally(1, 30_000)
    assert tally.kept <= 1_000
    assert tally.halvings >= 4
    assert tally.kept << tally.halvings == pytest.approx(20_000, rel=0.1)
    assert tally.once << tally.halvings == pytest.approx(10_000, rel=0.15)
