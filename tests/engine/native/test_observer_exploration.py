"""Observers that follow known transitions find what exploring everything anew finds."""

from __future__ import annotations

from dataclasses import replace
from threading import Event

import numpy as np
import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from modecheck.checks.watched import events_of
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import INTERRUPTION, Limits, Space
from modecheck.engine.native.graph import CompiledExploration, as_compiled
from modecheck.engine.native.observer_exploration import observer_product
from modecheck.engine.observer_product import ObserverProducts
from modecheck.engine.search.exploration import Silent, explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import EventIR, Product
from modecheck.product.state_conditions import is_watched
from tests.cli.running import MODELS
from tests.engine.native.test_observer_code import MOST_STATES, watched
from tests.generation.devices import Drawn, devices

pytestmark = pytest.mark.usefixtures("own_cache")

COMPILED = Search(engine="compiled", threads=1, expected=1)


def compiled(product: Product, overhearing: tuple[EventIR, ...] = ()) -> CompiledExploration:
    space = as_compiled(explore_with(product, COMPILED, overhearing=overhearing))
    assert space is not None
    return space


def assert_identical(one: CompiledExploration, two: CompiledExploration) -> None:
    """The same states and transitions under the same numbers, and the same about them."""
    assert one.layers == two.layers
    assert one.stopped_by == two.stopped_by
    assert one.transitions == two.transitions
    assert one.occupied == two.occupied
    assert np.array_equal(one.found.words, two.found.words)
    assert np.array_equal(one.marks, two.marks)
    for name in ("first", "targets", "is_quiescent", "failing"):
        assert np.array_equal(getattr(one.graph, name), getattr(two.graph, name)), name
    for name in ("labels", "moved", "events"):
        told = [getattr(space.graph, name)[space.graph.notes] for space in (one, two)]
        assert np.array_equal(*told), name
    for name in ("watched", "taken", "encounters"):
        assert getattr(one.observed, name) == getattr(two.observed, name), name
    assert one.failures.keys() == two.failures.keys()
    for key, seen in one.failures.items():
        # Of the states of that depth any may be told.
        assert one.depth_of(seen.state) == two.depth_of(two.failures[key].state)


@given(devices(starts=True), st.integers(0, 1 << 16))
@settings(max_examples=settings().max_examples * 3 // 10)
def test_following_finds_what_exploring_anew_finds(drawn: Drawn, seed: int) -> None:
    """State for state, also with failing steps, choices of observers and idling; and where a rule
    can be cut in the middle it is left to others.
    """
    alone = compose(drawn.read())
    both = watched(alone, seed)
    assume(explore(both, max_states=MOST_STATES).complete)
    alone = replace(alone, fair=both.fair)
    space = compiled(alone, both.events[len(alone.events) :])
    found = observer_product(space, both, Limits(), Event())
    cut = any(fault.cut_labels for fault in both.faults)
    event(f"failures: {bool(space.failures)}, cut: {cut}")
    assert (found is None) == cut
    if found is not None:
        assert_identical(found, compiled(both))


@given(devices(starts=True, timed=True), st.integers(0, 1 << 16))
@settings(max_examples=3)
def test_nothing_is_followed_where_time_is_counted(drawn: Drawn, seed: int) -> None:
    """A tick is a step also where it changes nothing but an observer."""
    alone = compose(drawn.read())
    both = watched(alone, seed)
    assume(both.time is not None and explore(both, max_states=MOST_STATES).complete)
    space = compiled(alone, both.events[len(alone.events) :])
    assert observer_product(space, both, Limits(), Event()) is None


MORE = """
requirements:
  arrives: {text: "A turn arrives", whenever: sent(knob.turn), then: delivered(laptop.turn)}
  once:
    text: "Nobody turns it after a turn has arrived"
    never: sent(knob.turn)
    scope: {after: delivered(laptop.turn)}
"""


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> tuple[CompiledExploration, Product]:
    """A device explored without its observers, and the product with all of them."""
    over = tmp_path_factory.mktemp("watched") / "more.yaml"
    over.write_text(MORE, encoding="utf-8")
    device = read_device(str(MODELS / "small" / "knob.yaml"), over=str(over))
    alone = compose(device)
    names = [need.name for need in device.requirements.values() if is_watched(need)]
    assert len(names) == 3
    return compiled(alone, events_of(alone)), compose(device, observers=names)


def test_what_was_not_overheard_is_not_followed(
    known: tuple[CompiledExploration, Product],
) -> None:
    """Observers that ask for what transitions do not tell are left to an exploration anew."""
    _, both = known
    space = compiled(compose(both.device))
    asks = len(both.events) > len(both.watched_events)
    assert asks
    assert observer_product(space, both, Limits(), Event()) is None


def test_more_than_the_limit_is_not_followed(known: tuple[CompiledExploration, Product]) -> None:
    """A bound of states is told by the exploration that knows what to keep."""
    space, both = known
    whole = observer_product(space, both, Limits(), Event())
    assert whole is not None
    assert observer_product(space, both, Limits(states=whole.state_count), Event()) is not None
    assert observer_product(space, both, Limits(states=whole.state_count - 1), Event()) is None


def test_following_can_be_interrupted(known: tuple[CompiledExploration, Product]) -> None:
    """What was found until then is the beginning of the whole, and is called incomplete."""
    space, both = known
    now = Event()
    now.set()
    part, whole = (
        observer_product(space, both, Limits(), now),
        observer_product(space, both, Limits(), Event()),
    )
    assert part is not None
    assert whole is not None
    assert part.stopped_by == INTERRUPTION
    assert not part.complete
    assert part.layers == whole.layers[: len(part.layers)]
    assert np.array_equal(part.found.words, whole.found.words[: part.found.words.size])


def test_what_is_begun_ahead_is_what_is_asked_for(
    known: tuple[CompiledExploration, Product],
) -> None:
    """Several explorations at a time are those that would be made one after the other, and what
    was begun in another way is made anew.
    """
    space, both = known
    names = tuple(observer.name for observer in both.observers)
    search = replace(COMPILED, threads=2)

    def product_with(some: tuple[str, ...]) -> Product:
        return compose(both.device, observers=some)

    def explored(beside: ObserverProducts, some: tuple[str, ...], how: Search) -> Space:
        found = as_compiled(beside.explore(some, how))
        assert found is not None
        assert_identical(found, compiled(product_with(some)))
        return found

    with ObserverProducts(space, product_with, Silent()) as beside:
        beside.begin([(names, search), ((names[0],), search), (names[-1:], search)])
        explored(beside, names, search)
        explored(beside, names[:1], replace(search, limits=Limits(states=100_000)))
        explored(beside, names[-1:], search)
