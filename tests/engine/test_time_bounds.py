"""Best and worst times against a naive reading: which states reach a goal with exactly k ticks.

A way with more ticks than there are states passes one of them twice with a tick in between, so it
can be made as long as one likes: it is enough to count up to the number of states.
"""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings

from modecheck.checks.device_time_bounds import FAULTS, actors_labels
from modecheck.engine.choice import explore_with
from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import Interpreter
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.engine.search.time_bound_paths import TimedPathFinder
from modecheck.engine.search.time_bound_search import time_bounds_of
from modecheck.engine.search.time_bounds import (
    FOREVER,
    NEVER,
    REGION,
    TimeBoundQuery,
    TimeBounds,
    with_moments,
)
from modecheck.product.composition import compose
from tests.engine.oracles.plain_time_bounds import PlainTimeBounds
from tests.generation.devices import Drawn, device_from, devices

MOST_STATES = 150

Steps = dict[int, list[tuple[bool, int]]]
"""For each state whether a step is a tick, and where it leads to."""


def can_wait(space: Space, number: int) -> bool:
    """Whether nothing keeps time from going on in a state, as the guide says, though no tick is
    a step there.
    """
    product, state = space.product, space.state(number)
    time, interpreter = product.time, Interpreter(space.product)
    assert time is not None
    if any(interpreter.condition(due.holds, state) for due in time.due):
        return False
    for step in interpreter.steps(state):
        label = product.labels[step.label]
        if step.label == time.label or step.label in time.at_once or step.after is None:
            return False
        if label.kind in ("deliver", "discard"):
            queue = product.queues[label.queue]
            if queue.latest >= 0 and state[queue.slots[0].age] == queue.latest:
                return False
    return True


class Naive:
    """The states of a region, by what reaches a goal with exactly so many ticks."""

    def __init__(self, space: Space, query: TimeBoundQuery) -> None:
        self.space, self.query = space, query
        both = query.inside | query.outside
        self.region = {
            n for n in range(space.state_count) if space.marks_at(n) & both == query.inside
        }
        time = space.product.time
        assert time is not None
        self.steps = {
            n: [
                (edge.label == time.label, edge.target)
                for edge in space.edges_from(n)
                if edge.label not in query.barred
            ]
            for n in self.region
        }
        self.alone = {
            n: [
                (edge.label == time.label, edge.target)
                for edge in space.edges_from(n)
                if edge.label not in query.barred | query.actors
            ]
            for n in self.region
        }
        self.waits = {n for n in self.region if can_wait(space, n)}
        others = set(range(space.state_count)) - self.region
        self.goals = {n for n in others if not query.goal or space.marks_at(n) & query.goal}
        self.endless = query.endless

    def _closed(self, steps: Steps, found: set[int]) -> set[int]:
        """With all that reach them without a tick."""
        grown = True
        while grown:
            more = {
                n for n in self.region - found if any(not t and to in found for t, to in steps[n])
            }
            found, grown = found | more, bool(more)
        return found

    def times(self, steps: Steps, *, endless: bool) -> tuple[dict[int, int], dict[int, int]]:
        """The least and the greatest number of ticks, -1 for none."""
        best, worst = dict.fromkeys(self.region, NEVER), dict.fromkeys(self.region, NEVER)
        last = self._closed(steps, set(self.region) if endless else set(self.goals))
        for ticks in range(len(self.region) + 2):
            for n in last & self.region:
                best[n] = ticks if best[n] == NEVER else best[n]
                worst[n] = ticks
            ticking = {n for n in self.region if any(t and to in last for t, to in steps[n])}
            last = self._closed(steps, ticking | (self.waits & last))
        most = len(self.region) + 1
        return best, {n: FOREVER if ticks == most else ticks for n, ticks in worst.items()}

    def as_asked(self, best: dict[int, int], worst: dict[int, int]) -> int | None:
        """The least time behind a step of an actor, in the mode or behind it and in no other,
        before which no goal could be reached without one.
        """
        every = range(self.space.state_count)
        reached = {n for n in every if self.space.marks_at(n) & self.query.before}
        while more := self._behind(reached) - reached:
            reached |= more
        behind = {
            edge.target
            for n in reached & self.region
            if worst[n] == NEVER
            for edge in self.space.edges_from(n)
            if edge.label in self.query.actors
        }
        found = [0 if n in self.goals else best.get(n, NEVER) for n in behind]
        return min((ticks for ticks in found if ticks != NEVER), default=None)

    def _behind(self, states: set[int]) -> set[int]:
        return {e.target for n in states for e in self.space.edges_from(n)} & self.region

    def check(self, found: TimeBounds) -> None:
        best = self.times(self.steps, endless=False)[0]
        worst = self.times(self.alone, endless=False)[1]
        if self.endless:
            never_there = self.times(self.alone, endless=True)[1]
            worst = {n: max(worst[n], never_there[n]) for n in self.region}
        if self.query.asked:
            shortest = None if found.shortest is None else found.shortest.ticks
            assert shortest == self.as_asked(best, worst)
        for n in self.region:
            assert (found.kinds[n], found.best[n], found.worst[n]) == (REGION, best[n], worst[n])


def queries(space: Space) -> list[TimeBoundQuery]:
    """Switches between the modes of a device, and the time in which it is in none of them."""
    bits = [space.mark(f"mode:{name}") for name in space.product.device.modes]
    if not bits:
        return []
    actors, every = actors_labels(space.product), sum(bits)
    found = [
        TimeBoundQuery(0, every, goal, frozenset(), before=bits[0], actors=actors, straight=True)
        for goal in bits
    ]
    return [*found, *asked(space, bits), TimeBoundQuery(0, every, 0, frozenset(), endless=True)]


def asked(space: Space, bits: list[int]) -> list[TimeBoundQuery]:
    """Switches from the first mode, as somebody measures them who asks for them."""
    labels = enumerate(space.product.labels)
    faults = frozenset(n for n, label in labels if label.kind in FAULTS)
    outside, actors = sum(bits) & ~bits[0], actors_labels(space.product)
    return [
        TimeBoundQuery(
            0, outside, goal, faults, before=bits[0], actors=actors, straight=True, asked=True
        )
        for goal in bits[1:]
    ]


@given(devices(timed=True, options=False))
@settings(max_examples=settings().max_examples // 4)
def test_times_are_those_of_the_naive_reading(drawn: Drawn) -> None:
    """For every state of random timed devices, with retries, losses, power cuts and actors."""
    space = explore(with_moments(compose(drawn.read())), max_states=MOST_STATES)
    assume(space.complete and not space.failures)
    for query in queries(space):
        found = time_bounds_of(space)(query)
        assert found is not None
        Naive(space, query).check(found)


def ticks_of(space: Space, finder: TimedPathFinder) -> None:
    """The scenarios of both times are ways of the product, and take the time that is told."""
    time = space.product.time
    assert time is not None
    for stretch in (finder.shortest(), finder.longest()):
        if stretch is None:
            continue
        here = stretch.start.target
        for label, target in stretch.steps:
            assert (label, target) in {(e.label, e.target) for e in space.edges_from(here)}
            here = target
        passed = sum(label == time.label for label, _ in stretch.steps)
        if stretch.start.ticks != FOREVER:
            assert passed == stretch.start.ticks
        elif stretch.stands:
            assert can_wait(space, here)
        else:
            loop = stretch.steps[stretch.loop_from :]
            before = stretch.steps[stretch.loop_from - 1][1] if stretch.loop_from else None
            assert here == (stretch.start.target if before is None else before)
            assert any(label == time.label for label, _ in loop)


@given(devices(timed=True, options=False))
@settings(max_examples=settings().max_examples // 5)
def test_scenarios_take_the_time_that_is_told(drawn: Drawn) -> None:
    """Or end with a loop in which time passes, or where time can pass without a step."""
    space = explore(with_moments(compose(drawn.read())), max_states=MOST_STATES)
    for query in queries(space):
        found = time_bounds_of(space)(query)
        assert found is not None
        ticks_of(space, TimedPathFinder(space, query, found))
        if space.complete and found.shortest is not None and found.longest is not None:
            assert found.shortest.ticks <= found.longest.ticks


RETRIES = """
device: a tile that looks for its hub
clock: {tick: 1 ms, at_once: [chips]}
chips:
  tile:
    states: {wired: {rest: true}, calling: {}, waiting: {},
             joined: {rest: true}, lost: {rest: true}}
    variables: {tries: {range: [0, 3]}}
    rules:
      pull: {in: wired, on: unplugged, to: calling, do: [tries = 0]}
      call: {in: calling, after: 2 ms, to: waiting, send: [hello via air]}
      retry: {in: waiting, after: 20 ms, if: tries < 3, do: [tries = tries + 1], to: calling}
      give_up: {in: waiting, after: 20 ms, if: tries == 3, to: lost}
      joined: {in: waiting, on: welcome, to: joined}
      too_late: {on: welcome}
      back: {on: plugged, to: wired}
  hub:
    states: {listening: {rest: true}}
    rules: {answer: {on: hello, send: [welcome via ether]}}
actors:
  cable:
    states: [inside, outside]
    rules:
      - {in: inside, to: outside, signal: [unplugged]}
      - {in: outside, to: inside, signal: [plugged]}
links:
  air: {from: tile, to: hub, medium: radio, carries: [hello], delay: [1 ms, 3 ms],
        when_full: drop_new}
  ether: {from: hub, to: tile, medium: radio, carries: [welcome], delay: [1 ms, 3 ms],
          when_full: drop_new}
faults: {lose: {links: [air], at_most: 2}}
modes: {wire: tile.wired, radio: tile.joined, alone: tile.lost}
"""


STANDS = """
device: a tile that need not join
clock: {tick: 1 ms}
chips:
  tile:
    states: {wired: {rest: true}, between: {}, joined: {rest: true}}
    rules:
      pull: {in: wired, on: unplugged, to: between}
      join: {in: between, to: joined}
      back: {in: joined, after: 3 ms, to: wired}
actors:
  cable: {states: [inside], rules: [{in: inside, signal: [unplugged]}]}
modes: {wire: tile.wired, radio: tile.joined}
"""


FELT_LATE = """
device: a plug that is felt late
clock: {tick: 1 ms, at_once: [chips]}
chips:
  tile:
    states: {wired: {rest: true}, feeling: {}, radio: {rest: true}}
    rules:
      up: {in: wired, on: pulled, to: feeling}
      sure: {in: feeling, after: [20 ms, 30 ms], to: radio}
      down: {on: plugged, to: wired}
actors:
  cable:
    states: [in_, out]
    rules: [{in: in_, to: out, signal: [pulled]}, {in: out, to: in_, signal: [plugged]}]
  player: {states: [there], variables: {foot: {bool: true}}, rules: [{do: [foot = not foot]}]}
modes: {wire: tile.wired or tile.feeling, radio: tile.radio}
"""
"""Invented: for 20 to 30 ms the device is in its mode although the cable is out."""

BOTH_AT_ONCE = FELT_LATE.replace("tile.feeling,", "tile.feeling or tile.radio,")
"""Invented, with a mistake: whoever has come to radio is still in the other mode."""


@pytest.mark.parametrize(
    "text", [STANDS, FELT_LATE, BOTH_AT_ONCE], ids=["stands", "felt_late", "both_at_once"]
)
def test_what_is_asked_for_is_that_of_the_naive_reading(text: str) -> None:
    """On devices in which somebody asks for a switch, the one at once and the other in time."""
    space = explore(with_moments(compose(device_from(text))))
    for query in queries(space):
        found = time_bounds_of(space)(query)
        assert found is not None
        assert found.shortest is not None or not query.asked
        Naive(space, query).check(found)


def test_who_is_in_both_modes_asks_for_neither() -> None:
    """A foot in the mode that is asked for is no request for it, though the other one holds, too:
    the cable is pulled 20 ms before.
    """
    space = explore(with_moments(compose(device_from(BOTH_AT_ONCE))))
    (query,) = (query for query in queries(space) if query.asked)
    found = time_bounds_of(space)(query)
    assert found is not None
    assert found.shortest is not None
    assert found.shortest.ticks == 20


@pytest.fixture(
    scope="module",
    params=[RETRIES, STANDS, FELT_LATE, BOTH_AT_ONCE],
    ids=["retries", "stands", "felt_late", "both_at_once"],
)
def both(request: pytest.FixtureRequest) -> tuple[PlainExploration, Space]:
    """The same device by both engines. One exploration is made for all queries."""
    from modecheck.engine.choice import Search

    product = with_moments(compose(device_from(request.param)))
    return explore(product), explore_with(product, Search(engine="compiled", threads=1))


def need_the_same(
    plain: PlainExploration, other: Space, query: TimeBoundQuery, two: TimeBounds | None
) -> None:
    """Assert that an answer is what a search that shares no code finds, state by state."""
    there = {other.state(n): n for n in range(other.state_count)}
    one = PlainTimeBounds(plain, query).durations()
    assert two is not None
    for n in range(plain.state_count):
        m = there[plain.state(n)]
        mine = one.kinds[n], one.best[n], one.worst[n], one.stands[n]
        assert mine == (two.kinds[m], two.best[m], two.worst[m], two.stands[m])
    for start, second in ((one.shortest, two.shortest), (one.longest, two.longest)):
        if other is plain:
            assert start == second
        assert (start and start.ticks) == (second and second.ticks)
    ticks_of(other, TimedPathFinder(other, query, two))


def test_both_engines_agree(both: tuple[PlainExploration, Space]) -> None:
    """On the times from every state, on those that are told, and on where time can stand."""
    plain, _ = both
    for query in queries(plain):
        for space in both:
            need_the_same(plain, space, query, time_bounds_of(space)(query))


@pytest.mark.thorough
@given(devices(timed=True, options=False))
@settings(max_examples=6)
@pytest.mark.usefixtures("own_cache")
def test_both_engines_agree_on_random_devices(drawn: Drawn) -> None:
    """Whatever was asked before: what queries have in common is found once."""
    from modecheck.engine.choice import Search

    product = with_moments(compose(drawn.read()))
    plain = explore(product, max_states=4 * MOST_STATES)
    assume(plain.complete)
    compiled = explore_with(product, Search(engine="compiled", threads=1, expected=1))
    asked = queries(plain)
    for space in (plain, compiled):
        answer = time_bounds_of(space)
        for query in [*asked, *reversed(asked)]:
            need_the_same(plain, space, query, answer(query))
