"""Types of values: how a value is spelled, and what a type holds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.values import (
    MOST_KEYS,
    TRUTH,
    ValueType,
    bond_type,
    number_type,
    word_type,
)

BOUNDS = st.tuples(st.integers(-1000, 1000), st.integers(0, 1000))
WORDS = st.lists(st.sampled_from(["idle", "busy", "front", "rear"]), min_size=1, unique=True)
TYPES = st.one_of(
    st.just(TRUTH),
    BOUNDS.map(lambda bounds: number_type(bounds[0], bounds[0] + bounds[1])),
    WORDS.map(lambda words: word_type(tuple(words))),
    st.integers(1, MOST_KEYS).map(bond_type),
)


@given(type_=TYPES, data=st.data())
def test_spelling_tells_values_apart(type_: ValueType, data: st.DataObject) -> None:
    """Two values of a type never look the same, and a word means the value that it spells."""
    values = st.integers(type_.low, type_.high)
    one, other = data.draw(values), data.draw(values)
    assert (type_.spell(one) == type_.spell(other)) == (one == other)
    assert type_.value_of(type_.spell(one)) == (one if type_.spell(one) in type_.words else None)


@given(type_=TYPES)
def test_a_type_holds_what_lies_in_its_range(type_: ValueType) -> None:
    """Both ends are in, their neighbours are not, and the first value is in."""
    assert type_.holds(type_.low)
    assert type_.holds(type_.high)
    assert not type_.holds(type_.low - 1)
    assert not type_.holds(type_.high + 1)
    assert type_.holds(type_.first)


@pytest.mark.parametrize(
    ("type_", "first", "text"),
    [
        (TRUTH, 0, "true or false"),
        (number_type(-2, 2), 0, "a number from -2 to 2"),
        (number_type(3, 5), 3, "a number from 3 to 5"),
        (word_type(("idle", "busy")), 0, "one of idle, busy"),
        (bond_type(), 0, "none or a key from 1 to 7"),
    ],
)
def test_a_type_is_told_in_words(type_: ValueType, first: int, text: str) -> None:
    """A variable starts at 0 where that is in range; the type reads as an expectation."""
    assert type_.first == first
    assert str(type_) == text


def test_keys_have_numbers_and_none_has_a_name() -> None:
    """A bond is none or the number of a key."""
    assert [bond_type(2).spell(value) for value in (0, 1, 2)] == ["none", "1", "2"]
