"""The run that shows a difference: it ends where the choice or the loss can be seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from modecheck.compare.difference import How, difference, run_of, run_showing, silent_cycle
from modecheck.compare.labelled import LabelledSystem
from modecheck.compare.silent_cycles import with_divergence
from tests.compare.systems import Tree, Triples, labelled, process, random_triples


def after(system: LabelledSystem, run: list[int]) -> int:
    """The state behind a run, of which each transition begins where the one before it ended."""
    state = system.initial
    for number in run:
        assert system.sources[number] == state
        state = int(system.targets[number])
    return state


def reached(triples: Triples, state: int, *, silently: bool) -> set[int]:
    """What can be reached from a state, by definition."""
    found = {state}
    while True:
        more = {t for s, name, t in triples if s in found and (not silently or not name)} - found
        if not more:
            return found
        found |= more


def names_from(triples: Triples, states: set[int]) -> set[str]:
    """The events that some states can do."""
    return {name for source, name, _ in triples if source in states and name}


@given(one=random_triples(6), other=random_triples(6))
def test_a_run_ends_where_the_difference_shows(
    one: tuple[int, Triples], other: tuple[int, Triples]
) -> None:
    """In a choice only what is offered can follow; in a loss none of what is lost ever does. The
    events of the run are those of the difference.
    """
    systems = labelled(*one), labelled(*other)
    found = difference(*systems)
    assume(found is not None and found.how in (How.SEQUENCE, How.CHOICE, How.LOSS))
    assert found is not None
    side = 0 if found.by_first else 1
    system, triples = systems[side], (one, other)[side][1]
    run = run_showing(system, found)
    assert run is not None
    state = after(system, run)
    seen = [system.names[int(system.labels[number])] for number in run]
    assert tuple(name for name in seen if name) == found.events
    if found.how is How.CHOICE:
        follows = names_from(triples, reached(triples, state, silently=True))
        assert follows <= set(found.offers)
    elif found.how is How.LOSS:
        ever = names_from(triples, reached(triples, state, silently=False))
        assert not ever & set(found.lost)


@given(one=random_triples(6), other=random_triples(6))
def test_a_run_to_a_divergence_ends_on_a_shortest_silent_cycle(
    one: tuple[int, Triples], other: tuple[int, Triples]
) -> None:
    """The events of the run are those of the difference; the cycle leads back to where it ends."""
    made, systems = (one, other), (labelled(*one), labelled(*other))
    found = difference(*map(with_divergence, systems))
    assume(found is not None and found.how is How.DIVERGENCE)
    assert found is not None
    side = 0 if found.by_first else 1
    system = systems[side]
    run = run_showing(with_divergence(system), found)
    assert run is not None
    seen = [system.names[int(system.labels[number])] for number in run]
    assert tuple(name for name in seen if name) == found.events
    state = after(system, run)
    cycle = silent_cycle(system, state)
    assert cycle
    assert not system.labels[cycle].any()
    assert after(replace(system, initial=state), cycle) == state
    frontier = {state}
    for _ in cycle[:-1]:
        frontier = {t for s, name, t in made[side][1] if s in frontier and not name}
        assert state not in frontier


def test_without_a_silent_cycle_there_is_none() -> None:
    """A cycle with a visible step is none, and neither is one that only leads to others."""
    system = labelled(3, [(0, "", 1), (1, "a", 0), (1, "", 2), (2, "", 2)])
    assert [silent_cycle(system, state) for state in range(3)] == [None, None, [3]]


def test_a_choice_is_shown_where_it_is_made() -> None:
    """Some silent steps behind the last event, where that is needed: a.(b + c) and a.(b + c) + a.b,
    with a silent step before the last b (invented).
    """
    b_or_c: Tree = [("b", []), ("c", [])]
    one = process([("a", b_or_c)])
    other = process([("a", b_or_c), ("a", [("", [("b", [])])])])
    found = difference(one, other)
    assert found is not None
    assert (found.how, found.after, found.offers) == (How.CHOICE, ("a",), ("b",))
    assert len(run_of(other, found.events) or []) == 1
    run = run_showing(other, found)
    assert run is not None
    last = after(other, run)
    assert {other.names[label] for label in other.labels[other.sources == last]} <= {"b", ""}


@given(made=random_triples(5), data=st.data())
def test_a_run_to_chosen_states_is_a_shortest_one(
    made: tuple[int, Triples], data: st.DataObject
) -> None:
    """Against a search by definition, over states and how many events were seen."""
    count, triples = made
    system = labelled(count, triples)
    events = tuple(data.draw(st.lists(st.sampled_from("ab"), max_size=2)))
    ends = [data.draw(st.booleans()) for _ in range(count)]
    found = run_of(system, events, np.array(ends, bool))
    frontier, seen, steps = {(0, 0)}, {(0, 0)}, 0
    while frontier and not any(n == len(events) and ends[s] for s, n in frontier):
        further = {
            (t, n + bool(name))
            for s, n in frontier
            for source, name, t in triples
            if source == s and (not name or (n < len(events) and name == events[n]))
        }
        frontier = further - seen
        seen |= frontier
        steps += 1
    assert (found is None) == (not frontier)
    if found is not None:
        assert len(found) == steps
