"""The difference between two systems, against plain sets of sequences."""

from __future__ import annotations

from itertools import count

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from modecheck.compare import difference as module
from modecheck.compare.difference import BehaviourDifference, How, difference, run_of
from modecheck.compare.labelled import SILENT, LabelledSystem
from modecheck.compare.refinement import Equivalence, equivalent
from modecheck.compare.silent_cycles import with_divergence
from modecheck.compare.visible import FAILS
from tests.compare.by_definition import silently, weakly
from tests.compare.systems import Tree, Triples, labelled, process, random_triples

Made = tuple[int, Triples]
END: Tree = []
LONG = 4
"""Sequences shorter than this are looked at where no choice after any is told to differ."""


def reached(triples: Triples, events: tuple[str, ...]) -> set[int]:
    """Where a system can be after some events."""
    states = silently({0}, triples)
    for event in events:
        states = set().union(*(weakly(state, event, triples) for state in states))
    return states


def sequences(triples: Triples, length: int) -> set[tuple[str, ...]]:
    """All sequences of so many events that a system can do."""
    known: set[tuple[str, ...]] = {()}
    for _ in range(length):
        known = {
            (*one, event) for one in known for event in "ab" if reached(triples, (*one, event))
        }
    return known


def offered(triples: Triples, state: int) -> set[str]:
    return {event for event in "ab" if weakly(state, event, triples)}


@given(one=random_triples(), other=random_triples())
def test_a_difference_is_found_unless_they_are_equivalent(one: Made, other: Made) -> None:
    """None is said of branching equivalent systems, and of no others."""
    found = difference(labelled(*one), labelled(*other))
    assert (found is None) == equivalent(labelled(*one), labelled(*other), Equivalence.BRANCHING)


@given(one=random_triples(), other=random_triples())
def test_a_difference_in_divergence_is_told_where_it_is(one: Made, other: Made) -> None:
    """Where divergence is visible, a difference is found exactly if they are not equivalent with
    it. After the events, only the one that is named can be where silent steps go on forever; before
    them both can do the same, and that.
    """
    systems = labelled(*one), labelled(*other)
    found = difference(*map(with_divergence, systems))
    assert (found is None) == equivalent(*systems, Equivalence.DIVERGENCE)
    assume(found is not None and found.how is How.DIVERGENCE)
    assert found is not None
    able, unable = (one[1], other[1]) if found.by_first else (other[1], one[1])
    assert goes_on(able, found.after)
    assert not goes_on(unable, found.after)
    for length in range(len(found.after) + 1):
        assert sequences(one[1], length) == sequences(other[1], length)
        for events in sequences(one[1], length) if length < len(found.after) else ():
            assert goes_on(one[1], events) == goes_on(other[1], events)


def goes_on(triples: Triples, events: tuple[str, ...]) -> bool:
    """Whether a silent step that can be taken after some events leads back to where it began."""
    states = reached(triples, events)
    return any(s in states and not name and s in silently({t}, triples) for s, name, t in triples)


@given(one=random_triples(), other=random_triples())
def test_a_sequence_is_a_shortest_that_only_one_can_do(one: Made, other: Made) -> None:
    """Nothing shorter tells the two apart; the one that is named can do it, the other cannot."""
    found = difference(labelled(*one), labelled(*other))
    assume(found is not None and found.how is How.SEQUENCE)
    assert found is not None
    able, unable = (one[1], other[1]) if found.by_first else (other[1], one[1])
    assert reached(able, found.events)
    assert not reached(unable, found.events)
    for length in range(len(found.after) + 1):
        assert sequences(one[1], length) == sequences(other[1], length)


@st.composite
def torn(draw: st.DrawFn) -> tuple[Made, Made]:
    """A system, and one that silently becomes it or a copy of it that lacks some steps: both can do
    the same sequences.
    """
    size, triples = draw(random_triples(5))
    left = [step for step in triples if draw(st.booleans())]
    copies = [(s + 1, name, t + 1) for s, name, t in triples]
    copies += [(s + 1 + size, name, t + 1 + size) for s, name, t in left]
    return (size, triples), (2 * size + 1, [(0, "", 1), (0, "", size + 1), *copies])


@given(pair=torn())
def test_a_choice_is_told_where_the_sequences_are_the_same(pair: tuple[Made, Made]) -> None:
    """One can be where only what is told can follow, and the other can always do something else.
    Where that is not told, it is so nowhere.
    """
    one, other = pair
    found = difference(labelled(*one), labelled(*other))
    if found is None:
        return
    assert found is not None
    assert found.how in (How.CHOICE, How.LOSS, How.SILENT_CHOICE)
    able, unable = (one[1], other[1]) if found.by_first else (other[1], one[1])
    if found.how is How.CHOICE:
        assert set(found.offers) in refusing(able, unable, found.after)
    shortest = len(found.after) if found.how is How.CHOICE else LONG
    for length in range(shortest):
        for events in sequences(one[1], length):
            assert not refusing(one[1], other[1], events)
            assert not refusing(other[1], one[1], events)


def refusing(able: Triples, unable: Triples, events: tuple[str, ...]) -> list[set[str]]:
    """All that can follow where one can be after some events, if the other can always do more."""
    others = [offered(unable, state) for state in reached(unable, events)]
    own = [offered(able, state) for state in reached(able, events)]
    return [mine for mine in own if not any(their <= mine for their in others)]


@given(made=random_triples())
def test_a_run_shows_the_events_in_the_fewest_steps(made: Made) -> None:
    """A run is connected, starts at the start, shows what was asked, and none is shorter."""
    system = labelled(*made)
    for events in [*sorted(sequences(made[1], 2)), ("b", "a", "b"), ()]:
        run = run_of(system, events)
        assert (run is None) == (not reached(made[1], events))
        if run is not None:
            state, seen = 0, list[str]()
            for edge in run:
                assert system.sources[edge] == state
                state = system.targets[edge]
                seen += [system.names[system.labels[edge]]] * int(system.labels[edge] != SILENT)
            assert tuple(seen) == events
            assert len(run) == fewest_steps(system, events)


def fewest_steps(system: LabelledSystem, events: tuple[str, ...]) -> int:
    """By trying all runs of one length after the other."""
    here = {(0, 0)}
    rows = list(zip(system.sources, system.labels, system.targets, strict=True))
    for steps in count():
        if any(seen == len(events) for _, seen in here):
            return steps
        here = {
            (int(target), seen + (label != SILENT))
            for state, seen in here
            for source, label, target in rows
            if source == state
            and (label == SILENT or (seen < len(events) and system.names[label] == events[seen]))
        }
    raise AssertionError


def test_a_difference_reads_as_a_sentence() -> None:
    """Who can do what, after what; and where only the moment of a choice differs, that."""
    one, other = process([("a", [("b", [])])]), process([("a", [])])
    found = difference(one, other)
    assert found is not None
    assert found.sentence("the new", "the old") == "after a, the new can do b, and the old cannot"
    turned = difference(other, one)
    assert turned is not None
    assert turned.sentence() == "after a, the second can do b, and the first cannot"
    failing = difference(process([("a", [(FAILS, [])])]), process([("a", [])]))
    assert failing is not None
    assert failing.sentence("the new", "the old") == (
        "after a, a step of the new can fail, and none of the old can"
    )
    early = difference(process([("", [("a", [])]), ("b", [])]), process([("a", []), ("b", [])]))
    assert early is not None
    assert early.sentence() == (
        "both can do the same sequences, but their choices differ: from the start, the first can "
        "reach a state in which only a can follow; the second can then always do something else"
    )


def test_a_difference_in_divergence_reads_as_a_sentence() -> None:
    """Who can go on forever after what; and where the choice whether to do so differs, that."""
    after_a, never = labelled(2, [(0, "a", 1), (1, "", 1)]), labelled(2, [(0, "a", 1)])
    found = difference(with_divergence(never), with_divergence(after_a))
    assert found is not None
    assert found.sentence("the old", "the new") == (
        "after a, the new can go on forever without a visible event, and the old cannot"
    )
    may_stop = labelled(2, [(0, "", 0), (0, "", 1)])
    found = difference(*map(with_divergence, (may_stop, labelled(1, [(0, "", 0)]))))
    assert found is not None
    assert found.sentence() == (
        "both can do the same sequences, but their choices differ: from the start, the first can "
        "reach a state in which nothing can follow; the second can then always do something else"
    )


def test_an_event_is_told_before_that_there_is_none() -> None:
    """Where both differ at once, and wherever the event is not behind the divergence."""
    one, other = labelled(2, [(0, "", 0), (0, "a", 1)]), labelled(1, [])
    found = difference(*map(with_divergence, (other, one)))
    assert found == BehaviourDifference(How.SEQUENCE, event="a", by_first=False)


def test_nothing_is_told_after_silent_steps_forever() -> None:
    """Either goes on forever, one where a can follow, the other where b can: that is a choice."""
    one = [(0, "", 1), (1, "", 1), (1, "a", 3), (0, "", 2), (2, "b", 3)]
    other = [(0, "", 1), (1, "a", 3), (0, "", 2), (2, "", 2), (2, "b", 3)]
    found = difference(*(with_divergence(labelled(4, each)) for each in (one, other)))
    assert found == BehaviourDifference(How.CHOICE, offers=("b",))


def test_only_the_moment_of_a_choice_can_differ() -> None:
    """a.(b+τ.c)+a.c and a.(b+τ.c) are weakly equivalent: no sequence and no refusal differs."""
    late: tuple[str, Tree] = ("a", [("b", []), ("", [("c", [])])])
    found = difference(process([late, ("a", [("c", [])])]), process([late]))
    assert found == BehaviourDifference(How.SILENT_CHOICE)


def test_too_many_pairs_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bound that is hit leaves the difference unknown, and says so."""
    one = labelled(9, [(n, "a", n + 1) for n in range(8)])
    other = labelled(10, [(n, "a", n + 1) for n in range(9)])
    monkeypatch.setattr(module, "MOST_PAIRS", 3)
    found = difference(one, other)
    assert found is not None
    assert found.how is How.UNKNOWN
    assert found.sentence() == "they differ, but not within the first 3 pairs of sets of states"


def test_the_nearest_difference_is_told_first() -> None:
    """Of two sequences that only one can do, the shorter one is told, whatever its name."""
    one: Tree = [("a", [("y", END)]), ("b", [("b", [("b", [("x", END)])])])]
    other: Tree = [("a", END), ("b", [("b", [("b", END)])])]
    found = difference(process(one), process(other))
    assert found is not None
    assert found.events == ("a", "y")


def test_offering_more_is_no_difference_in_choices() -> None:
    """τ.a + τ.(a+b) + b + c and τ.a + b + c: where the first offers a or b, the second may offer a
    alone, so an observer can be refused as much.
    """
    rest = [("b", END), ("c", END)]
    one = process([("", [("a", END)]), ("", [("a", END), ("b", END)]), *rest])
    assert difference(one, process([("", [("a", END)]), *rest])) == BehaviourDifference(
        How.SILENT_CHOICE
    )


def test_what_is_lost_for_ever_is_told() -> None:
    """After a, the second may be where only a follows, for ever; the first can always come to b.
    The first can be where only a follows next too, so neither refuses more than the other.
    """
    first = [
        (0, "", 0),
        (0, "a", 1),
        (1, "a", 1),
        (1, "", 2),
        (2, "a", 3),
        (3, "a", 1),
        (3, "b", 1),
    ]
    second = [*first, (0, "a", 4), (4, "a", 4)]
    found = difference(labelled(5, first), labelled(5, second))
    assert found is not None
    assert (found.how, found.after, found.lost, found.by_first) == (How.LOSS, ("a",), ("b",), False)
