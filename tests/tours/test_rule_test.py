"""Tests that take every rule of a chip: replayed, and held against a complete exploration."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.happenings import Took
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.replay import replay
from modecheck.tours.plan import BenchTest
from modecheck.tours.rule_test import rule_tests
from tests.models.bundled import MODELS, STARTER, TANDEM, name_of
from tests.stepping import begin

SMALL = [
    MODELS / "small" / f"{name}.yaml" for name in ("handshake", "knob", "joining", "reconnect")
]
DEAF = """
device: deaf
chips:
  hub:
    states: {idle: {rest: true}}
    rules:
      hear: {in: idle, on: ping}
      never: {in: idle, on: ping, if: false}
actors:
  hand: {states: [free], rules: {ping: {signal: ping}}}
"""


def product_of(path: Path) -> Product:
    return compose(read_device(str(path)))


def rules_replayed(product: Product, tests: list[BenchTest]) -> set[int]:
    """The rules that the interpreter takes when the sequences are replayed."""
    return {
        happening.rule
        for test in tests
        for sequence in test.sequences
        for replayed in replay(product, sequence.moves)
        for happening in replayed.step.happenings
        if isinstance(happening, Took)
    }


def check_chip(product: Product, chip: str) -> list[BenchTest]:
    """Every rule of the chip that exploring ever takes is taken, and told of where it is."""
    tests = rule_tests(product, [chip])
    own = {number for number, rule in enumerate(product.rules) if rule.chip == chip}
    alive = explore_with(product).observed.taken & own
    assert rules_replayed(product, tests) & own == alive
    told = {name for t in tests for s in t.sequences for step in s.steps for name in step.takes}
    assert {f"{chip}.{product.rules[number].title}" for number in alive} <= told
    for test in tests:
        assert test.complete
        assert test.bound <= test.cost
        assert not test.shortest or test.bound == test.cost
    return tests


@pytest.mark.parametrize("path", [STARTER, *SMALL], ids=name_of)
def test_every_rule_of_every_chip_is_taken(path: Path) -> None:
    """Of small devices, those that never settle included."""
    product = product_of(path)
    for chip in product.chips:
        if not chip.actor:
            check_chip(product, chip.name)


@pytest.mark.thorough
def test_tandems_hub_takes_every_rule() -> None:
    """Most by somebody who waits each time; the others in sequences where the moment matters, which
    say so.
    """
    settled, timed = check_chip(product_of(TANDEM), "hub")
    assert {step.early for s in settled.sequences for step in s.steps} == {False}
    assert any(step.early for s in timed.sequences for step in s.steps)
    assert settled.cost <= 1.25 * settled.bound
    assert timed.shortest


def test_the_starters_pedal_takes_six_steps() -> None:
    """Six rules, of which no step takes two: the shortest there can be (worked out by hand)."""
    (test,) = rule_tests(product_of(STARTER), ["pedal"])
    assert (test.cost, test.shortest) == (6, True)
    (test,) = rule_tests(product_of(STARTER), ["pedal", "receiver"])
    assert (test.cost, test.shortest) == (6, True)


def test_a_rule_that_no_run_takes_is_named() -> None:
    """After the whole product was looked through."""
    settled, timed = rule_tests(begin(DEAF).product, ["hub"])
    assert settled.steps == 1
    assert timed.left_out == ("no run of the product takes: hub.never",)
    assert timed.sequences == ()


@pytest.mark.thorough
def test_a_bound_leaves_open_what_was_not_found() -> None:
    """Then nothing is said to be impossible."""
    how = Search(engine="plain", limits=Limits(states=2000))
    tests = rule_tests(product_of(TANDEM), ["hub"], search=how)
    assert tests[-1].stopped_by == "the bound of 2,000 states"
    assert not tests[-1].complete
    assert "no run of the product takes" not in " ".join(tests[-1].left_out)
