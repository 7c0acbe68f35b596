"""Words of the W-method catch every machine of the same size with one mistake."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.tours.mealy import Mealy, access_words, minimised
from modecheck.tours.w_method import (
    NotMinimal,
    characterising_set,
    most_words,
    state_cover,
    transition_cover,
    without_prefixes,
    words_to_run,
)


@st.composite
def machines(draw: st.DrawFn) -> Mealy:
    """Random machines of up to six states, two or three inputs and two outputs."""
    states, inputs = draw(st.integers(1, 6)), draw(st.integers(2, 3))
    rows = st.tuples(*[st.integers(0, states - 1)] * inputs)
    told = st.tuples(*[st.sampled_from("xy")] * inputs)
    return Mealy(
        tuple("abc"[:inputs]),
        tuple(draw(rows) for _ in range(states)),
        tuple(draw(told) for _ in range(states)),
    )


def told_apart(one: Mealy, other: Mealy) -> bool:
    """Whether some word is answered differently: a search over pairs of states."""
    pairs = [(0, 0)]
    for first, second in pairs:  # grows while it is gone through
        if one.outputs[first] != other.outputs[second]:
            return True
        for pair in zip(one.following[first], other.following[second], strict=True):
            if pair not in pairs:
                pairs.append(pair)
    return False


def mutants(machine: Mealy) -> list[Mealy]:
    """Each machine with one wrong next state or one wrong output."""
    made = []
    for state, number in product(range(machine.size), range(len(machine.inputs))):
        for wrong in range(machine.size):
            rows = [list(row) for row in machine.following]
            rows[state][number] = wrong
            made.append(replace(machine, following=tuple(map(tuple, rows))))
        told = [list(row) for row in machine.outputs]
        told[state][number] = "z"
        made.append(replace(machine, outputs=tuple(map(tuple, told))))
    return made


@given(machines())
def test_every_mutant_is_caught(machine: Mealy) -> None:
    """One wrong next state or output: some test word is answered wrongly, unless nothing tells the
    two apart at all.
    """
    small = minimised(machine).machine
    words = without_prefixes(words_to_run(small))
    for mutant in mutants(small):
        caught = any(small.run(word) != mutant.run(word) for word in words)
        assert caught == told_apart(small, mutant)


@given(machines(), machines())
def test_any_machine_with_one_state_more_is_caught(machine: Mealy, other: Mealy) -> None:
    """With as many extra states asked for as the other machine has more: it answers all words alike
    only where nothing tells the two apart.
    """
    small = minimised(machine).machine
    extra = max(other.size - small.size, 0)
    if extra > 2 or len(small.inputs) != len(other.inputs):
        return
    words = words_to_run(small, extra=extra)
    caught = any(small.run(word) != other.run(word) for word in words)
    assert caught == told_apart(small, other)


def test_a_state_more_hides_from_the_words_for_none() -> None:
    """A lamp that forgets that it is lit when it is asked for light a third time: without an extra
    state the words end too soon; with one they do not (invented).
    """
    lamp = Mealy(("a", "b"), ((1, 0), (1, 0)), (("x", "x"), ("x", "y")))
    forgetful = Mealy(("a", "b"), ((1, 0), (2, 0), (0, 0)), (("x", "x"), ("x", "y"), ("x", "y")))
    for extra, caught in ((0, False), (1, True)):
        words = words_to_run(lamp, extra=extra)
        assert any(lamp.run(word) != forgetful.run(word) for word in words) == caught
        assert len(words) <= most_words(lamp, extra=extra)


@given(machines())
def test_the_minimal_machine_cannot_be_told_from_the_other(machine: Mealy) -> None:
    """And no two of its states are alike: each pair is told apart by a word of W."""
    result = minimised(machine)
    assert not told_apart(machine, result.machine)
    assert {state for states in result.alike for state in states} == set(access_words(machine))
    words = characterising_set(result.machine)
    answers = {
        tuple(map(str, (result.machine.run(w, s) for w in words)))
        for s in range(result.machine.size)
    }
    assert len(answers) == result.machine.size


@given(machines())
def test_covers_reach_every_state_and_every_transition(machine: Mealy) -> None:
    """As their names promise."""
    small = minimised(machine).machine
    assert {small.after(word) for word in state_cover(small)} == set(range(small.size))
    taken = {(small.after(word[:-1]), word[-1]) for word in transition_cover(small) if word}
    assert taken == set(product(range(small.size), range(len(small.inputs))))


def test_prefixes_need_no_run_of_their_own() -> None:
    """Only words that no other begins with are left."""
    assert without_prefixes(((), (0,), (1,), (0, 1), (0, 1, 1))) == ((1,), (0, 1, 1))


def test_a_machine_with_equal_states_is_refused() -> None:
    """The method needs a minimal machine with reachable states."""
    alike = Mealy(("a",), ((1,), (0,)), (("x",), ("x",)))
    with pytest.raises(NotMinimal, match="told apart"):
        characterising_set(alike)
    lonely = Mealy(("a",), ((0,), (0,)), (("x",), ("y",)))
    with pytest.raises(NotMinimal, match="reached"):
        state_cover(lonely)
