"""The plain interpreter against a second, naive reading of the language, on random devices."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence

from hypothesis import assume, event, given, settings

from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, devices
from tests.second_reading.findings import goes_on
from tests.second_reading.search import Reached, TooMany, search
from tests.second_reading.side_by_side import world_of

MOST_WORLDS = 1000
"""What the second reading can go through in a second or two."""

EXAMPLES = settings().max_examples

Transition = tuple[Hashable, str, Hashable, frozenset[str], frozenset[str]]
"""From where, called what, to where, who moved, which watched events happened."""


def both_readings(drawn: Drawn) -> tuple[PlainExploration, Reached]:
    """A device explored by the tool and by the second reading, both completely."""
    device = drawn.read()
    exploration = explore(compose(device), max_states=MOST_WORLDS)
    assume(exploration.complete)
    try:
        reached = search(device, MOST_WORLDS)
    except TooMany:
        raise AssertionError("the second reading reaches more") from None
    event(f"10 to the power of {len(str(len(reached.worlds)))} worlds")
    return exploration, reached


def keys_of(exploration: PlainExploration) -> list[Hashable]:
    product = exploration.product
    return [
        world_of(product, exploration.state(number)).key
        for number in range(exploration.state_count)
    ]


def transitions_of(exploration: PlainExploration, keys: list[Hashable]) -> Counter[Transition]:
    labels = [label.text for label in exploration.product.labels]
    chips = [chip.name for chip in exploration.product.chips]
    events = exploration.product.watched_events
    found: Counter[Transition] = Counter()
    for number in range(exploration.expanded):
        for edge in exploration.edges_from(number):
            names = named(chips, edge.moved), named(events, edge.events)
            found[keys[number], labels[edge.label], keys[edge.target], *names] += 1
    return found


def named(names: Sequence[str], bits: int) -> frozenset[str]:
    return frozenset(name for position, name in enumerate(names) if bits >> position & 1)


@given(devices(starts=True))
@settings(max_examples=EXAMPLES)
def test_both_readings_agree(drawn: Drawn) -> None:
    """States, transitions, layers, failing steps and quiet states are the same in both readings."""
    assert_both_agree(drawn)


@given(devices(starts=True, timed=True))
@settings(max_examples=EXAMPLES)
def test_both_readings_agree_on_time(drawn: Drawn) -> None:
    """The same where time is counted: rules that wait, timers, links that take their time."""
    assert_both_agree(drawn)


def assert_both_agree(drawn: Drawn) -> None:
    assert_same_in_both(*both_readings(drawn))


def assert_same_in_both(exploration: PlainExploration, reached: Reached) -> None:
    """Both explored completely."""
    keys = keys_of(exploration)
    assert len(set(keys)) == len(keys), "no state is found twice"
    worlds = [world.key for world in reached.worlds]
    watched = set(exploration.product.watched_events)
    edges = Counter(
        {
            (worlds[n], step.label, worlds[target], step.moved, step.events & watched)
            for n in reached.numbers
            for step, target in reached.outcomes[n]
            if target >= 0
        }
    )
    assert transitions_of(exploration, keys) == edges
    assert set(keys) == set(worlds)
    assert exploration.layers == [reached.depths.count(d) for d in range(exploration.depth + 1)]
    failures = [
        {failure for outcome, _ in reached.outcomes[number] for failure in outcome.failures}
        for number in reached.numbers
    ]
    assert set(exploration.failures) == set().union(*failures)
    numbers = {key: number for number, key in enumerate(worlds)}
    for number, key in enumerate(keys):
        assert bool(exploration.graph.failing[number]) == bool(failures[numbers[key]])
    quiet = {keys[number] for number in exploration.quiescent(0)}
    assert quiet == {worlds[n] for n in reached.numbers if not goes_on(reached, n)}
