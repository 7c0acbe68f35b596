"""What an observer finds without exploring its product is what a search of the product finds."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from threading import Event
from typing import Any

import numpy as np
import pytest
import yaml
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from modecheck.checks.watched import events_of, judge, needs_of
from modecheck.engine.choice import Search
from modecheck.engine.contract.observer_answer import ObserverVerdict, waiting_loops
from modecheck.engine.contract.space import INTERRUPTION, Limits, ReachGoal, first_zero
from modecheck.engine.native.observer_verdict import verdict_along
from modecheck.engine.native.verdict_automaton import VerdictAutomaton, can_be_put_off
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device, Requirement
from modecheck.product.automata import Automaton
from modecheck.product.composition import compose
from modecheck.product.exchange_automata import exchange_automaton
from modecheck.product.ir import FairSet, Product
from modecheck.product.observers import Watched, automaton_for, with_observers
from tests.cli.running import MODELS
from tests.engine.native.test_observer_code import some_atom, some_event
from tests.engine.native.test_observer_exploration import compiled
from tests.generation.devices import Drawn, as_yaml, device_from, devices
from tests.product.test_exchange_automata import MOMENTS, outcomes

pytestmark = pytest.mark.usefixtures("own_cache")

MOST_STATES = 1500
NAME = "W"


def some_automaton(atoms: int, dice: random.Random) -> Automaton:
    """Any automaton whose choices can be put off: it says nothing about a state in which it may
    choose, nor about one that it may choose.
    """
    states = dice.randint(3, 6)
    rows = [[dice.randrange(states) for _ in range(1 << atoms)] for _ in range(states)]
    for state in range(states):
        if dice.random() < 0.3:
            rows[state] = [state] * (1 << atoms)
    choices = ((0, 1),) if dice.random() < 0.6 else ()
    free = range(2 if choices else 0, states)
    if choices and dice.random() < 0.7:
        # A choice that can be made later just as well, but for some valuations.
        rows[1] = [1 if after == 0 else own for own, after in zip(rows[1], rows[0], strict=True)]

    def some(share: float) -> frozenset[int]:
        return frozenset(state for state in free if dice.random() < share)

    alive = some(0.6)
    return Automaton(
        states=states,
        start=0,
        atoms=atoms,
        table=tuple(after for row in rows for after in row),
        bad=dict.fromkeys(some(0.15) - alive, "bad"),
        alive=alive,
        again=alive if dice.random() < 0.6 else alive & some(0.5),
        triggers=frozenset(n for n in range(states << atoms) if dice.random() < 0.1),
        choices=choices,
        unsure=some(0.1) - alive,
    )


def observed(alone: Product, seed: int) -> tuple[Product, Product, Automaton]:
    """The product, and with one random observer; with other fairness than it had."""
    dice = random.Random(seed)  # noqa: S311 - not for secrets
    labels = range(len(alone.labels))
    sets = (frozenset(n for n in labels if dice.random() < 0.3) for _ in range(3))
    fair = [FairSet("some", strong=dice.random() < 0.5, labels=one) for one in sets]
    fair = [replace(one, labels=one.labels - fair[0].labels) for one in fair[1:]]
    alone = replace(alone, fair=tuple(fair)) if dice.random() < 0.7 else alone
    events = (*alone.events, *(some_event(alone, dice) for _ in range(3)))
    automaton = exchange_automaton(1, dice.randint(1, 2), strict=dice.random() < 0.5)
    if dice.random() < 0.5:
        automaton = some_automaton(dice.randint(1, 2), dice)
    atoms = tuple(some_atom(alone, len(events), dice) for _ in range(automaton.atoms))
    assert alone.device.place is not None
    need = Requirement(NAME, "t", "never", None, "", (), alone.device.place)
    return alone, with_observers(alone, [Watched(need, automaton, atoms)], events), automaton


def by_search(space: PlainExploration, automaton: Automaton) -> ObserverVerdict:
    """The same from the explored product."""

    def marked(what: str) -> int:
        names = [name for name in space.product.conditions if name.startswith(f"{what}:{NAME}")]
        return sum(space.mark(name) for name in names)

    def is_found(mark: int) -> bool:
        return any(found & mark for found in space.combinations())

    alive, again = marked("alive"), marked("again")
    loops = waiting_loops(alive, again, space.mark("idles")) if alive else ()
    answers = [space.fair_loop(query) for query in loops]
    ends = bool(alive and space.failures) and (
        first_zero(space.can_reach(ReachGoal(0, lacking=again or alive, past_failures=False)))
        is not None
    )
    looked_up = {place for _, place in space.observed.watched} | space.product.observers[0].firsts
    return ObserverVerdict(
        states=0,
        broken=is_found(marked("bad")) or any(one.loop for one in answers),
        lost_count=is_found(marked("unsure")),
        ends_failing=ends,
        tested=bool(looked_up & automaton.triggers),
        rests_on=frozenset().union(*(one.rests_on for one in answers)),
        stopped_by="",
    )


def compared(alone: Product, both: Product, automaton: Automaton) -> ObserverVerdict | None:
    """What is found, if it can be, compared with what a search finds."""
    full = explore(both, max_states=MOST_STATES)
    assume(full.complete)
    space = compiled(alone, both.events[len(alone.events) :])
    found = verdict_along(space, both, automaton, Limits(), Event())
    if found is None:
        return None
    expected = by_search(full, automaton)
    assert found.broken == expected.broken
    assert found.states <= full.state_count
    if not found.broken:
        assert found.lost_count == expected.lost_count
    if not found.broken and not found.lost_count:
        assert replace(found, states=0) == expected
    return found


@given(devices(starts=True), st.integers(0, 1 << 32))
@settings(max_examples=settings().max_examples // 4)
def test_a_random_observer_finds_what_a_search_finds(drawn: Drawn, seed: int) -> None:
    """Whatever its automaton and its atoms, also of items that are sent in a state and not in a
    step: broken or not, what that rests on, lost count, put to the test.
    """
    alone, both, automaton = observed(compose(drawn.read()), seed)
    found = compared(alone, both, automaton)
    cut = any(fault.cut_labels for fault in both.faults)
    assert (found is None) == cut
    if found is not None:
        event(f"broken: {found.broken}, rests on fairness: {bool(found.rests_on)}")


def with_exactly_once(drawn: Drawn, seed: int) -> Device | None:
    """The device with a requirement about some of its messages; None if one is sent twice in a
    step.
    """
    device, dice = drawn.read(), random.Random(seed)  # noqa: S311 - not for secrets
    items = [
        (link.sender, link.receiver, name)
        for link in device.links.values()
        for name in link.carries
    ]
    some = dice.sample(items, min(len(items), dice.choice((1, 1, 2))))
    inner: dict[str, Any] = {
        "sent": [f"{sender}.{message}" for sender, _, message in some],
        "received": [f"{receiver}.{message}" for _, receiver, message in some],
    }
    need: dict[str, Any] = {"text": "t", "exactly_once": inner}
    if dice.random() < 0.4:
        inner["under_way"] = dice.randint(1, 3)
    if dice.random() < 0.7:
        chip = dice.choice(
            [chip for chip in device.chips.values() if len(chip.leaves) > 1]
            or [*device.chips.values()]
        )
        need["may_lose"] = f"while {chip.name}.state == {dice.choice(chip.leaves)}"
    document = yaml.safe_load(drawn.text) | {"requirements": {"ONCE": need}}
    try:
        return device_from(as_yaml(document), drawn.chosen)
    except InvalidInput:
        return None


@given(devices(starts=True), st.integers(0, 1 << 32))
@settings(max_examples=settings().max_examples // 4)
def test_exactly_once_is_judged_as_by_a_search(drawn: Drawn, seed: int) -> None:
    """The verdict, what it rests on, what is said of it, and how long its scenario is."""
    device = with_exactly_once(drawn, seed)
    assume(device is not None)
    assert device is not None
    alone = compose(device)
    assume(explore(compose(device, observers=("ONCE",)), max_states=4 * MOST_STATES).complete)
    assert_judged_alike(alone, needs_of(alone)[1])


@given(devices(starts=True, runs=True))
@settings(max_examples=settings().max_examples // 6)
def test_any_pattern_alone_is_judged_as_by_a_search(drawn: Drawn) -> None:
    """In any scope."""
    device = drawn.read()
    alone = compose(device)
    for need in needs_of(alone)[0]:
        assume(explore(compose(device, observers=[need.name]), max_states=MOST_STATES).complete)
        assert_judged_alike(alone, [need])


def assert_judged_alike(alone: Product, needs: list[Requirement]) -> None:
    """One requirement, by either engine."""
    plain = explore(alone, max_states=MOST_STATES)
    assume(plain.complete)
    (one,) = judge(plain, needs, Search(engine="plain"), None)
    (two,) = judge(compiled(alone, events_of(alone)), needs, Search(engine="compiled"), None)
    event(f"{one.verdict}, rests on fairness: {bool(one.rests_on)}")
    assert (two.verdict, two.rests_on, two.remark) == (one.verdict, one.rests_on, one.remark)
    if one.finding is not None and one.finding.trace is not None:
        assert two.finding is not None
        assert two.finding.trace is not None
        assert two.finding.text == one.finding.text
        assert len(two.finding.trace.moves) == len(one.finding.trace.moves)


def test_what_was_found_until_an_interruption_is_incomplete() -> None:
    """And no verdict."""
    device = read_device(str(MODELS / "small" / "knob.yaml"))
    (need,) = needs_of(compose(device))[1]
    alone, both = compose(device), compose(device, observers=(need.name,))
    now = Event()
    now.set()
    space, automaton = compiled(alone, events_of(alone)), automaton_for(device, need)
    part = verdict_along(space, both, automaton, Limits(), now)
    assert part is not None
    assert part.stopped_by == INTERRUPTION
    whole = verdict_along(space, both, automaton, Limits(), Event())
    assert whole is not None
    assert not whole.stopped_by
    assert verdict_along(space, both, automaton, Limits(states=whole.states), Event()) == whole
    assert verdict_along(space, both, automaton, Limits(states=whole.states - 1), Event()) is None


KINDS, UNDER_WAY = 2, 3


@given(st.lists(MOMENTS, max_size=9), st.data())
@settings(max_examples=settings().max_examples * 3)
def test_the_stricter_state_rejects_whatever_the_other_rejects(
    run: list[tuple[str, int]], data: st.DataObject
) -> None:
    """From either of two states that are ordered, every run."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    some = data.draw(st.sampled_from(ordered_pairs()))
    found = [outcomes(replace(automaton, start=state), run) for state in some]
    (strict_bad, *strict), (bad, *other) = found
    if not strict_bad:
        assert not bad
        assert strict == other


@cache
def ordered_pairs() -> list[tuple[int, int]]:
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    found = VerdictAutomaton(automaton, np.arange(1 << automaton.atoms))
    pairs = np.argwhere(found.stricter())
    return [(one, two) for one, two in pairs.tolist() if one != two and one not in automaton.bad]


def test_what_counts_more_as_forgiven_is_merged_with_what_counts_less() -> None:
    """What may be lost weakens a requirement: a state of the device needs but one count of it."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    found = VerdictAutomaton(automaton, np.arange(1 << automaton.atoms))
    counting = {source for source, _ in automaton.choices}
    assert len(counting) == (UNDER_WAY + 1) ** 2
    assert len(set(found.family[list(counting)].tolist())) == UNDER_WAY + 1


def test_a_choice_that_says_something_at_once_is_not_put_off() -> None:
    """Neither are two in one state, nor one after the other."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    assert can_be_put_off(automaton)
    (source, target), *_ = automaton.choices
    for worse in (
        replace(automaton, alive=automaton.alive | {target}),
        replace(automaton, unsure=automaton.unsure | {source}),
        replace(automaton, choices=(*automaton.choices, (source, 0))),
        replace(automaton, choices=(*automaton.choices, (target, source))),
    ):
        assert not can_be_put_off(worse)


def test_a_choice_before_idling_for_ever_is_put_off_only_if_it_always_comes_to_the_same() -> None:
    """After one step it still does, and after the next no more."""
    automaton = Automaton(
        states=5,
        start=0,
        atoms=0,
        table=(2, 3, 2, 4, 4),
        bad={},
        alive=frozenset({4}),
        again=frozenset({4}),
        triggers=frozenset(),
        choices=((0, 1), (2, 3)),
    )
    found = VerdictAutomaton(automaton, np.zeros(1, np.int64))
    assert found.other.tolist() == [2, 3, 4, 4, 4]
    assert found.idle_other.tolist() == [3, 3, 4, 4, 4]
