"""Partition refinement against bisimulation by definition, and its laws."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.compare import refinement
from modecheck.compare.labelled import SILENT, LabelledSystem
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
    """Strongly equivalent states are branching equivalent, with divergence and hence without, and
    these are weakly equivalent.
    """
    system = labelled(*made)
    for fine, coarse in pairwise(classes_of(system, kind) for kind in KINDS):
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
    small = quotient(system, classes_of(system, kind), kind)
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


DIVERGING: dict[str, tuple[Triples, Triples, str]] = {
    "Δa v a": ([(0, "", 0), (0, "a", 1)], [(0, "a", 1)], "no/no/yes/yes"),
    "Δ0 v 0": ([(0, "", 0)], [], "no/no/yes/yes"),
    "a.Δ0 v a": ([(0, "a", 1), (1, "", 1)], [(0, "a", 1)], "no/no/yes/yes"),
    "τ.a v a": ([(0, "", 1), (1, "a", 2)], [(0, "a", 1)], "no/yes/yes/yes"),
    "τ.Δa v Δa": (
        [(0, "", 1), (1, "", 1), (1, "a", 2)],
        [(0, "", 0), (0, "a", 1)],
        "no/yes/yes/yes",
    ),
    "a cycle of two v a loop": (
        [(0, "", 1), (1, "", 0), (1, "a", 2)],
        [(0, "", 0), (0, "a", 1)],
        "no/yes/yes/yes",
    ),
    "a forever v a.a forever": (
        [(0, "a", 0)],
        [(0, "a", 1), (1, "a", 2), (2, "a", 1)],
        "yes/yes/yes/yes",
    ),
    "a + τ.Δ0 v a + τ": (
        [(0, "a", 1), (0, "", 2), (2, "", 2)],
        [(0, "a", 1), (0, "", 2)],
        "no/no/yes/yes",
    ),
}
"""From state 0. Δ: silent steps forever are possible as long as nothing else is done, which is the
delay operator of van Glabbeek & Weijland 1996 (from memory); the pairs are invented after it:
strong / branching with explicit divergence / branching / weak.
"""


@pytest.mark.parametrize("pair", DIVERGING)
def test_silent_steps_forever_count_for_divergence_alone(pair: str) -> None:
    """A silent loop is nothing to branching bisimulation, and something with divergence; a visible
    one is no divergence.
    """
    one, other, expected = DIVERGING[pair]
    answers = [equivalent(labelled(3, one), labelled(3, other), kind) for kind in KINDS]
    assert "/".join("yes" if answer else "no" for answer in answers) == expected


@pytest.mark.parametrize("kind", KINDS)
@given(made=random_triples(12), other=random_triples(12))
def test_a_quotient_stays_equivalent_when_more_becomes_silent(
    kind: Equivalence, made: tuple[int, Triples], other: tuple[int, Triples]
) -> None:
    """Equivalent states are merged before it is known what will be looked at."""
    first = Equivalence.BRANCHING if kind is Equivalence.WEAK else kind
    one, two = labelled(*made), labelled(*other)
    less, less_two = (quotient(each, classes_of(each, first), first) for each in (one, two))
    one, two, less, less_two = (hiding(each, "b") for each in (one, two, less, less_two))
    assert equivalent(one, two, kind) == equivalent(less, less_two, kind)
    assert equivalent(one, less, kind)


def hiding(system: LabelledSystem, name: str) -> LabelledSystem:
    """The same with what was seen under a name as silent steps."""
    if name not in system.names:
        return system
    labels = np.where(system.labels == system.names.index(name), SILENT, system.labels)
    return replace(system, labels=labels.astype(np.int32))


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
