"""The layout of a state in bits: packing loses nothing, and needs no more bits than it must."""

from __future__ import annotations

from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.product.ir import Field
from modecheck.product.state_layout import TOGETHER, layout_of

RANGES = st.lists(
    st.tuples(st.integers(-300, 300), st.sampled_from([0, 1, 2, 3, 4, 7, 8, 100, 255, 256, 2**32])),
    max_size=12,
)


def fields_of(ranges: list[tuple[int, int]]) -> list[Field]:
    """A field for each lowest value and span."""
    return [Field(f"f{n}", low, low + span, low) for n, (low, span) in enumerate(ranges)]


def vectors(fields: list[Field]) -> st.SearchStrategy[tuple[int, ...]]:
    """Values within the ranges of the fields."""
    return st.tuples(*(st.integers(field.low, field.high) for field in fields))


@given(ranges=RANGES, data=st.data())
def test_unpacking_undoes_packing(ranges: list[tuple[int, int]], data: st.DataObject) -> None:
    """Whatever the ranges, negative and single-valued ones included."""
    fields = fields_of(ranges)
    layout = layout_of(fields)
    values = data.draw(vectors(fields))
    assert layout.unpack(layout.pack(values)) == values


@given(ranges=RANGES, data=st.data())
def test_different_vectors_have_different_forms(
    ranges: list[tuple[int, int]], data: st.DataObject
) -> None:
    """So a packed state can stand for the state in a set."""
    fields = fields_of(ranges)
    layout = layout_of(fields)
    one, other = data.draw(vectors(fields)), data.draw(vectors(fields))
    assert (layout.pack(one) == layout.pack(other)) == (one == other)


@given(ranges=RANGES, data=st.data())
def test_the_form_has_as_many_bits_as_its_fields(
    ranges: list[tuple[int, int]], data: st.DataObject
) -> None:
    """A field of n values takes the bits of n - 1, and nothing lies between two fields."""
    fields = fields_of(ranges)
    layout = layout_of(fields)
    bits = [span.bit_length() for _, span in ranges]
    assert list(layout.shifts) == [sum(bits[:n]) for n in range(len(bits))]
    packed = layout.pack(data.draw(vectors(fields)))
    assert 0 <= packed < 1 << sum(bits)
    assert layout.pack([field.low for field in fields]) == 0


def test_all_vectors_of_full_ranges_fill_all_forms() -> None:
    """With ranges of 2, 4 and 8 values packing is a bijection onto 0 to 63."""
    fields = fields_of([(-1, 1), (0, 3), (5, 7)])
    layout = layout_of(fields)
    forms = {layout.pack((a, b, c)) for a in (-1, 0) for b in range(4) for c in range(5, 13)}
    assert forms == set(range(prod((2, 4, 8))))


@pytest.mark.parametrize("count", [0, 1, TOGETHER, TOGETHER + 1, 20_000])
def test_any_number_of_fields_can_be_packed(count: int) -> None:
    """A device with very many variables is no reason for Python's compiler to give up."""
    fields = fields_of([(0, 1)] * count)
    layout = layout_of(fields)
    values = tuple(n % 2 for n in range(count))
    assert layout.unpack(layout.pack(values)) == values
