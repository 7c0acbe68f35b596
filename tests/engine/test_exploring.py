"""Exploring: what is counted, what is reported, and what an exploration says that was stopped."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from modecheck.engine.contract.space import Limits, ReachGoal
from modecheck.engine.search.exploration import REPORT_EVERY, PlainExploration, explore
from modecheck.product.composition import compose
from tests.generation.devices import device_from

COUNTERS = """
device: counters
chips:
  front:
    variables: {{n: {{range: [0, {most}]}}}}
    states: {{run: {{}}}}
    rules: [{{if: n < {most}, do: [n += 1]}}]
  rear:
    variables: {{n: {{range: [0, {most}]}}}}
    states: {{run: {{}}}}
    rules: [{{if: n < {most}, do: [n += 1]}}]
modes: {{odd: front.n == 1, even: rear.n == 2}}
"""


def counters(most: int, **limits: float) -> PlainExploration:
    bounds = Limits(**limits)  # type: ignore[arg-type]
    return explore(compose(device_from(COUNTERS.format(most=most))), limits=bounds)


def test_layers_of_two_counters_are_diagonals() -> None:
    """Two counters to 3 have 16 states in layers 1 2 3 4 3 2 1, and 24 steps between them."""
    space = counters(3)
    assert space.complete
    assert (space.state_count, space.layers) == (16, [1, 2, 3, 4, 3, 2, 1])
    assert (space.transitions, space.depth) == (24, 6)


def test_two_ways_between_the_same_states_are_two_transitions() -> None:
    """A transition is a distinct triple of state, label and next state."""
    space = explore(
        compose(
            device_from("""
device: parallel
chips: {hub: {states: {a: {}, b: {}}, rules: [{name: x, in: a, to: b}, {name: y, in: a, to: b}]}}
""")
        )
    )
    assert (space.state_count, space.transitions) == (2, 2)


def test_failing_step_is_no_transition() -> None:
    """A step that must not happen leads nowhere; it is kept with the state that had it first."""
    space = explore(
        compose(
            device_from("""
device: failing
chips:
  hub: {variables: {n: {range: [0, 2]}}, states: {a: {}}, rules: [{name: more, do: [n += 1]}]}
""")
        )
    )
    assert (space.state_count, space.transitions) == (3, 2)
    ((name, sighting),) = space.failures.items()
    assert name == ("out-of-range", "hub.n")
    assert (sighting.state, sighting.count) == (2, 1)
    assert list(space.graph.failing) == [0, 0, 1]


@pytest.mark.parametrize("states", [1, 2, 3, 5, 10, 15])
def test_bound_of_states_is_exact_and_said(states: int) -> None:
    """No more states than asked for; what is kept of them is consistent."""
    space = counters(3, states=states)
    assert not space.complete
    assert space.stopped_by == f"the bound of {states} states"
    assert space.state_count == states == sum(space.layers)
    assert space.expanded < states or states == 1
    assert all(edge.target < states for n in range(states) for edge in space.edges_from(n))
    assert [space.depth_of(n) for n in range(states)] == sorted(
        len(space.path_to(n)) for n in range(states)
    )


def test_bound_that_is_not_reached_stops_nothing() -> None:
    """Exactly as many states as there are is enough."""
    assert counters(3, states=16).complete


def test_bound_of_time_is_said() -> None:
    """An exploration that has no time left says so."""
    space = counters(60, seconds=0.0)
    assert space.stopped_by == "the bound of 0 seconds"
    assert not space.complete


def test_unexpanded_states_have_an_unknown_future() -> None:
    """From a state that was not expanded every path may lead on."""
    space = counters(3, states=10)
    unexpanded = range(space.expanded, space.state_count)
    reaching = space.can_reach(ReachGoal(space.mark("mode:even")))
    assert unexpanded
    assert all(reaching[number] for number in unexpanded)


@dataclass
class Told:
    """A reporter that remembers, and interrupts after so many reports."""

    patience: int
    states: list[int] = field(default_factory=list)

    def progress(self, *, states: int, transitions: int, frontier: int, depth: int) -> None:
        assert 0 <= frontier <= states
        assert transitions >= states - frontier - 1
        assert depth >= 0
        self.states.append(states)
        if len(self.states) > self.patience:
            raise KeyboardInterrupt


def test_progress_is_reported_again_and_again() -> None:
    """A reporter hears of every so many expanded states."""
    told = Told(patience=100)
    space = explore(compose(device_from(COUNTERS.format(most=60))), reporter=told)
    assert space.complete
    assert len(told.states) == 1 + (space.state_count - 1) // REPORT_EVERY
    assert told.states == sorted(told.states)


def test_interruption_keeps_what_was_found() -> None:
    """After an interruption the states found so far stand, and the exploration says why."""
    told = Told(patience=1)
    space = explore(compose(device_from(COUNTERS.format(most=60))), reporter=told)
    assert space.stopped_by == "an interruption"
    assert space.state_count == told.states[-1] == sum(space.layers)


QUIET = """
device: quiet
chips:
  hub: {states: {%s}, rules: [%s], discards: [hello]}
actors:
  player: {states: {here: {}}, rules: [{if: false, send: [hello]}, {name: wave, signal: [wave]}]}
links: {up: {from: player, to: hub, carries: [hello]}}
faults: {reset: {chips: [hub]}}
"""


@pytest.mark.parametrize(
    ("states", "rules", "quiet"),
    [
        ("a: {}", "", True),
        ("a: {rest: true}", "", True),
        ("a: {}, b: {}", "{in: a, to: b}, {in: b, to: a}", False),
        ("a: {}, b: {}", "{in: a, after: 20 ms, to: b}, {in: b, to: a}", False),
        ("a: {}", "{to: a}", True),
        ("a: {}", "{after: 20 ms}", True),
        ("a: {}", "{on: wave}", True),
        ("a: {}", "{if: false, to: a}", True),
    ],
)
def test_actors_and_faults_do_not_keep_a_device_going(
    states: str, rules: str, *, quiet: bool
) -> None:
    """Quiet is where no chip has a rule of its own that leads on, and nothing can be delivered."""
    space = explore(compose(device_from(QUIET % (states, rules))))
    assert (0 in space.quiescent(0)) == quiet


def test_delivery_and_natural_loss_keep_a_device_going() -> None:
    """A message on its way is a step to come; so is the loss of a link that loses by nature."""
    text = QUIET.replace("if: false, send", "send").replace("capacity", "") % ("a: {}", "")
    space = explore(compose(device_from(text)))
    assert [bool(space.graph.is_quiescent[n]) for n in range(space.state_count)] == [True, False]
    deferring = text.replace("discards", "defers")
    assert list(explore(compose(device_from(deferring))).quiescent(0)) == [0, 1]
    losing = deferring.replace("carries: [hello]", "carries: [hello], can: [lose]")
    assert list(explore(compose(device_from(losing))).quiescent(0)) == [0]
    budgeted = losing.replace("reset: {chips: [hub]}", "lose: {links: [up], at_most: 1}")
    assert len(list(explore(compose(device_from(budgeted))).quiescent(0))) > 1
