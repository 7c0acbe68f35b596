"""Walks of actions on the bench: replayed on the interpreter, and complete."""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate
from pathlib import Path

import pytest

from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.reference.system_actions import Drives
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.replay import replay
from modecheck.tours.plan import BenchTest
from modecheck.tours.settled_tour import bench_test
from tests.models.bundled import MODELS, STARTER, TANDEM, name_of
from tests.stepping import begin

SETTLING = [
    STARTER,
    TANDEM,
    *(MODELS / "small" / f"{n}.yaml" for n in ("handshake", "knob", "update")),
]

TIMERS = """
device: two timers
chips:
  lamp:
    states: {dark: {rest: true}, waiting: {}, short: {rest: true}, long: {rest: true}}
    rules:
      go: {in: dark, on: press, to: waiting}
      soon: {in: waiting, after: 10 ms, to: short}
      tardy: {in: waiting, after: 10 min, to: long}
      back: {in: [short, long], on: release, to: dark}
actors:
  hand:
    states: [up, down]
    rules:
      press: {in: up, signal: press, to: down, text: presses}
      release: {in: down, signal: release, to: up, text: lets go}
"""
"""What the lamp does depends on which timer ends first."""

RETURNING = """
device: a lamp that chooses
chips:
  lamp:
    states: {dark: {rest: true}, waiting: {}, red: {rest: true}, green: {rest: true}}
    rules:
      go: {in: [dark, red, green], on: press, to: waiting}
      soon: {in: waiting, after: 10 ms, to: red}
      tardy: {in: waiting, after: 20 ms, to: green}
      slow: {in: waiting, after: 30 ms, to: dark}
      off: {in: red, on: switch, to: green}
      on: {in: green, on: switch, to: dark}
      again: {in: dark, on: switch, to: red}
actors:
  hand:
    states: [free]
    rules:
      press: {signal: press, text: presses}
      switch: {signal: switch, text: switches}
"""
"""Pressing leads to red, mostly; or to a state that was there before, or was not yet."""

TROUBLE = """
device: trouble
chips:
  counter:
    variables: {count: {range: [0, 1]}}
    states: {still: {rest: true}, here: {rest: true}, there: {rest: true}}
    rules:
      count: {in: still, on: count, do: count = count + 1}
      start: {in: still, on: start, to: here}
      forth: {in: here, to: there}
      back: {in: there, to: here}
actors:
  hand:
    states: [free]
    rules:
      count: {signal: count, text: counts}
      start: {signal: start, text: starts it}
"""
"""Counting twice leaves the range of a variable, and once started the chip goes round for ever."""


def product_of(path: Path) -> Product:
    return compose(read_device(str(path)))


def pairs_taken(product: Product, test: BenchTest) -> set[tuple[State, int]]:
    """Where somebody acted, and the label of what was done; each step is replayed for that."""
    taken = set()
    for sequence in test.sequences:
        ways = list(replay(product, sequence.moves))
        place = len(sequence.steps[0].moves)
        for step in sequence.steps[1:]:
            taken.add((ways[place].before, step.moves[0].label))
            place += len(step.moves)
        assert place == len(ways)
    return taken


@pytest.mark.parametrize("path", SETTLING, ids=name_of)
def test_a_tour_takes_every_action_of_every_settled_state(path: Path) -> None:
    """All steps of actors from each state in which somebody acts, and those states are settled."""
    product = product_of(path)
    test = bench_test(product)
    assert test.complete
    assert test.left_out == ()
    taken = pairs_taken(product, test)
    interpreter, by_system = Interpreter(product), Drives(product)
    possible = set()
    for state in {state for state, _ in taken}:
        steps = interpreter.steps(state)
        assert not any(by_system.keeps_going(step.label, state, step.after) for step in steps)
        actors = (product.labels[step.label] for step in steps)
        acting = [one.kind == "rule" and product.chips[one.chip].actor for one in actors]
        possible |= {(state, s.label) for s, acts in zip(steps, acting, strict=True) if acts}
    assert taken == possible


@pytest.mark.thorough
@pytest.mark.parametrize("path", SETTLING, ids=name_of)
def test_what_is_to_be_seen_is_what_the_states_hold(path: Path) -> None:
    """States of chips after each step, as the replay on the interpreter has them."""
    product = product_of(path)
    for sequence in bench_test(product).sequences:
        states = [replayed.step.after for replayed in replay(product, sequence.moves)]
        place = 0
        for step in sequence.steps:
            place += len(step.moves)
            state = states[place - 1] if place else product.initial
            assert state is not None
            chips = [chip for chip in product.chips if not chip.actor]
            assert step.see.states == {c.name: c.leaves[state[c.state_field]] for c in chips}


def test_the_starter_takes_eight_steps() -> None:
    """Cable and foot, each in two states, whoever moves: four states with two actions each, and an
    Euler circuit takes all eight (worked out by hand).
    """
    test = bench_test(product_of(STARTER))
    assert (test.steps, test.new_starts, test.bound, test.shortest) == (8, 0, 8, True)
    first = test.sequences[0].steps
    assert first[0].see.modes == ("radio",)
    plugs = next(step for step in first if step.do == "the player plugs the cable in")
    assert "mode radio → none → wired" in plugs.see.changed
    assert "receiver on_air → changing → on_cable" in plugs.see.changed


@pytest.mark.thorough
def test_a_closed_tour_ends_where_it_began() -> None:
    """In the settled state after power on."""
    product = product_of(TANDEM)
    test = bench_test(product, closed=True)
    (sequence,) = test.sequences
    assert sequence.steps[-1].see.states == sequence.steps[0].see.states
    assert sequence.steps[-1].see.values == sequence.steps[0].see.values
    assert test.cost >= bench_test(product).cost


def test_a_race_is_told() -> None:
    """The shorter timer is what is usual; the other end is told, and that nobody looks
    behind it.
    """
    test = bench_test(begin(TIMERS).product)
    press = test.sequences[0].steps[1]
    assert press.do == "the hand presses"
    assert press.see.changed == ("lamp dark → waiting → short",)
    assert press.waits == ("10 ms",)
    assert press.may_also == ("lamp long",)
    assert press.go_on == (None,)
    assert test.left_out == ("actions in 1 settled state that only races lead to",)


def test_patience_makes_waiting_an_action() -> None:
    """A timer beyond the patience runs out only where somebody waits for it."""
    slow = TIMERS.replace("after: 10 ms, to: short}", "after: 10 min, to: short}")
    lamp = slow.replace("waiting: {}", "waiting: {rest: true}")
    test = bench_test(begin(lamp).product, patience=Fraction(5))
    steps = test.sequences[0].steps
    press = next(step for step in steps if step.do == "the hand presses")
    assert press.see.states == {"lamp": "waiting"}
    assert press.may_also == ()
    assert any("longer than the patience" in fact for fact in test.facts)
    assert not any("patience" in fact for fact in bench_test(begin(lamp).product).facts)
    waits = {
        step.do for sequence in test.sequences for step in sequence.steps if step.kind == "wait"
    }
    assert waits == {
        "wait 10 min: lamp has waited 10 min in waiting and goes from waiting to short",
        "wait 10 min: lamp has waited 10 min in waiting and goes from waiting to long",
    }


def test_what_cannot_be_tested_is_named() -> None:
    """An action that the model calls wrong, and one after which the device never settles."""
    test = bench_test(begin(TROUBLE).product)
    assert len(test.left_out) == 2
    assert test.left_out[0].startswith("the hand counts (")
    assert test.left_out[0].endswith("an error of the model itself, in 1 settled state")
    assert test.left_out[1] == (
        "the hand starts it: the device never settles after this, in 2 settled states"
    )
    assert {step.do for step in test.sequences[0].steps[1:]} == {"the hand counts"}


def test_a_device_that_cannot_go_back_is_started_anew() -> None:
    """Two ways that both end for good: one new start, no more (worked out by hand)."""
    product = begin("""
    device: fuse
    chips:
      fuse:
        states: {whole: {rest: true}, blown: {rest: true}, cut: {rest: true}}
        rules: [{in: whole, on: surge, to: blown}, {in: whole, on: snip, to: cut}]
    actors:
      hand:
        states: [free]
        rules:
          surge: {if: fuse.whole, signal: surge, text: lets the current rise}
          snip: {if: fuse.whole, signal: snip, text: cuts it}
    """).product
    test = bench_test(product)
    assert (test.steps, test.new_starts, test.cost) == (2, 1, 3)


def test_a_bound_makes_it_incomplete() -> None:
    """What was found before is still a test, and nothing is said to be the shortest."""
    test = bench_test(product_of(TANDEM), limits=Limits(states=300))
    assert test.stopped_by == "the bound of 300 states"
    assert not test.complete
    assert not test.shortest
    assert test.sequences


def test_another_outcome_says_where_to_go_on() -> None:
    """Behind the last step before it that settled in the same state, where there is one; that state
    is what the step there shows. Else the sequence begins anew.
    """
    product = begin(RETURNING).product
    (sequence,) = bench_test(product).sequences
    shown = [step.see.states["lamp"] for step in sequence.steps]
    ways_on = set()
    for number, step in enumerate(sequence.steps):
        for told, place in zip(step.may_also, step.go_on, strict=True):
            other = told.removeprefix("lamp ")
            earlier = [n for n in range(number) if shown[n] == other]
            assert place == (earlier[-1] if earlier else None)
            ways_on.add(place is None)
    assert ways_on == {True, False}


def test_a_long_walk_is_cut_into_sittings() -> None:
    """The same actions in the same states as in one go, in sequences of about so many steps, each
    replayed from power on; steps are numbered through. What that costs is told.
    """
    product = product_of(STARTER)
    whole, cut = bench_test(product), bench_test(product, sitting=3)
    assert pairs_taken(product, cut) == pairs_taken(product, whole)
    assert len(cut.sequences) > 1
    assert (cut.sitting, cut.bound, cut.shortest) == (3, whole.cost, False)
    assert cut.cost == cut.steps + cut.new_starts > whole.cost
    assert [one.first for one in cut.sequences] == list(
        accumulate((len(one.steps) for one in cut.sequences[:-1]), initial=0)
    )
    assert bench_test(product, sitting=8) == whole
