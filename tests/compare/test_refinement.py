"""Partition refinement against bisimulation by definition, and its laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.compare import refinement
from modecheck.compare.refinement import (
    Equivalence,
    TooManyWeakSteps,
    classes_of,
    equivalent,
    quotient,
)
from modecheck.engine.language.kernel import interpreted
from tests.compare.by_definition import greatest
from tests.compare.plain_refinement import plain_classes
from tests.compare.systems import Tree, Triples, labelled, process, random_triples

KINDS = list(Equivalence)


@pytest.mark.parametrize("kind", KINDS)
@given(made=random_triples(60))
def test_classes_are_those_of_plain_refinement(
    kind: Equivalence, made: tuple[int, Triples]
) -> None:
    """The same classes, in the order of their first states; also where CPython runs the kernels."""
    system = labelled(*made)
    expected = plain_classes(system, kind.value)
    assert classes_of(system, kind).of.tolist() == expected
    with interpreted(), np.errstate(over="ignore"):
        assert classes_of(system, kind).of.tolist() == expected


@pytest.mark.parametrize("kind", KINDS)
@given(made=random_triples())
def test_classes_are_those_of_the_definition(kind: Equivalence, made: tuple[int, Triples]) -> None:
    """Two states have one class exactly if the greatest bisimulation relates them."""
    count, triples = made
    found = classes_of(labelled(count, triples), kind)
    same = {(p, q) for p in range(count) for q in range(count) if found.of[p] == found.of[q]}
    assert same == greatest(count, triples, kind.value)
    assert set(found.of.tolist()) == set(range(found.count))


@given(made=random_triples(40))
def test_a_coarser_equivalence_joins_classes_and_splits_none(made: tuple[int, Triples]) -> None:
    """Strongly equivalent states are branching equivalent, and these are weakly equivalent."""
    system = labelled(*made)
    strong, branching, weak = (classes_of(system, kind) for kind in KINDS)
    for fine, coarse in ((strong, branching), (branching, weak)):
        pairs = set(zip(fine.of.tolist(), coarse.of.tolist(), strict=True))
        assert len(pairs) == fine.count


@given(made=random_triples(60), seed=st.integers(0, 1 << 30))
def test_the_numbering_of_states_does_not_matter(made: tuple[int, Triples], seed: int) -> None:
    """The same system with its states shuffled has the same classes."""
    count, triples = made
    order = np.random.default_rng(seed).permutation(count)
    shuffled = [(int(order[s]), name, int(order[t])) for s, name, t in triples]
    for kind in KINDS:
        one = classes_of(labelled(count, triples), kind)
        other = classes_of(labelled(count, shuffled), kind)
        pairs = set(zip(one.of.tolist(), other.of[order].tolist(), strict=True))
        assert len(pairs) == one.count == other.count


@pytest.mark.parametrize("kind", KINDS)
@given(made=random_triples(30))
def test_a_quotient_is_equivalent_and_has_no_two_equivalent_states(
    kind: Equivalence, made: tuple[int, Triples]
) -> None:
    """The classes as states are the smallest equivalent system."""
    system = labelled(*made)
    small = quotient(system, classes_of(system, kind), silent_loops=kind is Equivalence.STRONG)
    assert equivalent(system, small, kind)
    assert classes_of(small, kind).count == small.count


@pytest.mark.parametrize("length", [1, 2, 3, 100, 3000])
def test_each_place_of_a_visible_chain_is_a_class_of_its_own(length: int) -> None:
    """What can still be done so many times differs; silent steps behind it change nothing."""
    chain = [(number, "a", number + 1) for number in range(length)]
    tail = [(number, "", number + 1) for number in range(length, length + 5)]
    system = labelled(length + 6, [*chain, *tail])
    assert classes_of(system, Equivalence.BRANCHING).count == length + 1
    assert classes_of(system, Equivalence.STRONG).count == length + 6


def test_a_silent_cycle_is_one_state() -> None:
    """From a cycle of silent steps everything can be done that can be done from any part of it."""
    cycle = labelled(4, [(0, "", 1), (1, "", 2), (2, "", 0), (0, "a", 3), (1, "b", 3)])
    plain = labelled(2, [(0, "a", 1), (0, "b", 1)])
    assert equivalent(cycle, plain, Equivalence.BRANCHING)
    assert not equivalent(cycle, plain, Equivalence.STRONG)


def test_what_may_follow_silently_counts_for_weak_bisimulation_alone() -> None:
    """a.(b + τ.c) can be left by a silent step right behind a, so a.c is nothing new: the third of
    Milner's τ-laws (1989, from memory), which branching bisimulation does not have.
    """
    one: Tree = [("a", [("b", []), ("", [("c", [])])])]
    systems = process(one), process([*one, ("a", [("c", [])])])
    assert equivalent(*systems, Equivalence.WEAK)
    assert not equivalent(*systems, Equivalence.BRANCHING)


def test_too_many_weak_steps_are_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bound that is hit is told, and never taken for an answer."""
    monkeypatch.setattr(refinement, "MOST_SATURATED", 3)
    system = labelled(6, [(n, "a" if n % 2 else "", n + 1) for n in range(5)])
    with pytest.raises(TooManyWeakSteps, match="more than 3 combined steps"):
        classes_of(system, Equivalence.WEAK)


def test_a_state_that_moves_looks_again_at_its_silent_steps() -> None:
    """A silent step is inert until its two ends are told apart, also where the end that is left
    behind has the larger block: τ.b + a and a + b, where b goes on for ever.
    """
    rest = [(state, "b", state) for state in range(2, 7)]
    system = labelled(7, [(0, "", 2), (0, "a", 2), (1, "a", 2), (1, "b", 2), *rest])
    for kind in (Equivalence.BRANCHING, Equivalence.WEAK):
        of = classes_of(system, kind).of
        assert of[0] != of[1]


@pytest.mark.parametrize("length", [1, 2, 50])
def test_what_is_behind_many_silent_steps_is_seen(length: int) -> None:
    """Where what a silent step leads to is told apart late, all states before it are looked at."""
    road = [(state, "", state + 1) for state in range(length)]
    tail = [(length + n, "a", length + n + 1) for n in range(5)]
    other = [(state, name, target) for state, name, target in [*road, *tail][:-1]]
    one, other_one = labelled(length + 6, [*road, *tail]), labelled(length + 6, other)
    assert not equivalent(one, other_one, Equivalence.BRANCHING)
    assert classes_of(one, Equivalence.BRANCHING).count == 6
