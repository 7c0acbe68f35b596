"""The least and the greatest chance over all ways to choose, beside all ways tried one by one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.chances.decisions import decisions_of
from modecheck.chances.interval_iteration import (
    CLOSE,
    Alternative,
    Bounds,
    greatest_chance,
    least_chance,
)
from modecheck.product.composition import compose_for_chances
from tests.generation.devices import device_from

Choices = Sequence[Sequence[Alternative]]

HALF = Fraction(1, 2)


def sure(target: int) -> Alternative:
    """An alternative that leads there with certainty."""
    return [(target, Fraction(1))]


def evenly(*targets: int) -> Alternative:
    """An alternative that leads to each of them equally often."""
    return [(target, Fraction(1, len(targets))) for target in targets]


def chance_of(arcs: Sequence[Alternative | None], goal: int) -> Fraction:
    """The chance of reaching the goal from state 0 if each state has one alternative or none, by
    Gaussian elimination on the states that can reach it.
    """
    able = {goal}
    while more := {
        n for n, arc in enumerate(arcs) if n not in able and any(t in able for t, _ in arc or ())
    }:
        able |= more
    if 0 not in able:
        return Fraction(0)
    inner = sorted(able - {goal})
    if not inner or goal == 0:
        return Fraction(1)
    rows = []
    for n in inner:
        into: dict[int, Fraction] = {}
        for target, probability in arcs[n] or ():
            into[target] = into.get(target, Fraction(0)) + probability
        left = [Fraction(n == m) - into.get(m, Fraction(0)) for m in inner]
        rows.append([*left, into.get(goal, Fraction(0))])
    for pivot in range(len(rows)):
        chosen = next(r for r in range(pivot, len(rows)) if rows[r][pivot])
        rows[pivot], rows[chosen] = rows[chosen], rows[pivot]
        rows[pivot] = [value / rows[pivot][pivot] for value in rows[pivot]]
        for other, row in enumerate(rows):
            if other != pivot:
                rows[other] = [a - row[pivot] * b for a, b in zip(row, rows[pivot], strict=True)]
    return rows[inner.index(0)][-1]


def every_way(choices: Choices, goal: int) -> Iterator[Fraction]:
    """The chance for each way to choose once for all in every state: the least and the greatest are
    among them (Puterman, Markov decision processes, 1994, theorem 7.1.9; from memory).
    """
    for chosen in product(*((*alternatives,) or (None,) for alternatives in choices)):
        yield chance_of(chosen, goal)


@st.composite
def processes(draw: st.DrawFn) -> Choices:
    """Up to five states with up to three alternatives, of which some lead nowhere."""
    count = draw(st.integers(1, 5))

    def alternative() -> Alternative:
        targets = draw(st.lists(st.integers(-1, count - 1), min_size=1, max_size=3))
        return evenly(*targets)

    return [[alternative() for _ in range(draw(st.integers(0, 3)))] for _ in range(count)]


@given(processes(), st.data())
@settings(deadline=None)
def test_the_bounds_hold_the_best_and_the_worst_of_all_ways(
    choices: Choices, data: st.DataObject
) -> None:
    """And they are close."""
    goal = data.draw(st.integers(0, len(choices) - 1))
    ways = list(every_way(choices, goal))
    for bounds, exact in (
        (least_chance(choices, {goal}), min(ways)),
        (greatest_chance(choices, {goal}), max(ways)),
    ):
        assert Fraction(bounds.low) <= exact <= Fraction(bounds.high)
        assert bounds.high - bounds.low <= CLOSE


def test_who_can_stay_for_ever_does_not_hold_up_the_bound_from_above() -> None:
    """Two states between which one may go back and forth: from above, one alone would stay at 1
    (the example that Haddad and Monmege begin with, in the form of it that is remembered).
    """
    choices = [[sure(1), evenly(2, 3)], [sure(0)], [], []]
    assert greatest_chance(choices, {2}) == Bounds(0.5, 0.5)
    assert least_chance(choices, {2}) == Bounds(0, 0)


@pytest.mark.parametrize("rich", [6, 10, 20])
def test_a_gambler_who_chooses_his_stakes(rich: int) -> None:
    """Bold play is best in an unfair game of red and black, and here from half of the goal it wins
    with the chance of one round, 9/19 (Dubins and Savage, How to gamble if you must, 1965; from
    memory). At worst he stakes nothing and never becomes rich.
    """
    win = Fraction(9, 19)
    choices: list[list[Alternative]] = [[]]
    for money in range(1, rich):
        stakes = range(min(money, rich - money) + 1)
        choices.append([[(money + stake, win), (money - stake, 1 - win)] for stake in stakes])
    choices.append([])
    greatest = greatest_chance(choices, {rich}, rich // 2)
    assert greatest.low <= win <= greatest.high
    assert greatest.high - greatest.low <= CLOSE
    assert least_chance(choices, {rich}, rich // 2) == Bounds(0, 0)


@pytest.mark.thorough
def test_a_walk_that_is_slow_stays_between_its_bounds() -> None:
    """Whatever was not reached in time is left open, and nothing wrong is told: 1/2 by symmetry."""
    choices: Choices = [[], *([evenly(n - 1, n + 1)] for n in range(1, 400)), []]
    bounds = greatest_chance(choices, {400}, 200)
    assert bounds.low <= HALF <= bounds.high


DEVICE = """
device: which way
chips:
  hub:
    states: {choosing: {}, cable: {}, radio: {}, heard: {rest: true}, lost: {rest: true}}
    rules:
      by_cable: {in: choosing, to: cable}
      by_radio: {in: choosing, to: radio}
      arrives: {in: cable, weight: 9, to: heard}
      breaks: {in: cable, weight: 1, to: lost}
      comes: {in: radio, weight: 1, to: heard}
      fades: {in: radio, weight: 3, to: lost}
chances:
  heard: {reach: hub.heard}
"""


def test_rules_without_weights_are_alternatives() -> None:
    """Of the cable 9/10 arrives, of the radio 1/4."""
    process = decisions_of(compose_for_chances(device_from(DEVICE)).product)
    least, greatest = process.bounds("until:heard")
    assert process.complete
    assert least.low <= Fraction(1, 4) <= least.high <= 0.25 + CLOSE
    assert 0.9 - CLOSE <= greatest.low <= Fraction(9, 10) <= greatest.high


TIMED = """
device: in time
clock: {tick: 1 ms}
chips:
  tile:
    states: {waiting: {}, sent: {rest: true}, over: {rest: true}}
    rules:
      send: {in: waiting, on: step, to: sent}
      give_up: {in: waiting, after: 3 ms, to: over}
actors:
  player:
    states: [here]
    rules: {step: {signal: step}}
chances:
  sent: {reach: tile.sent}
"""


def test_with_a_clock_a_step_without_weight_comes_whenever_it_likes() -> None:
    """At once, or never within the time: 1 and 0."""
    process = decisions_of(compose_for_chances(device_from(TIMED)).product)
    assert process.bounds("until:sent") == (Bounds(0, 0), Bounds(1, 1))
