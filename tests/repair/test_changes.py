"""A change is written as YAML that reads as what it says, and two of them never hide each other."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.model.errors import Notebook
from modecheck.model.yaml_nodes import MappingNode, read_yaml
from modecheck.repair.changes import (
    Candidate,
    Clash,
    Data,
    RepairChange,
    Value,
    difference_of,
    merged,
    values_in,
    yaml_text,
)
from modecheck.repair.written import _mapping

KEYS = st.text(alphabet="abz_ on1", min_size=1, max_size=6).map(lambda t: f"k{t}z")
SCALARS = st.one_of(
    st.sampled_from(
        ["true", "no", "null", "~", "10 ms", "a == b and not (c.d or e)", "x, y", "a: b", "- a",
         "value != front", "picture(foot) via cord", "", " a", "1", "tile[i+1]", "{side}_dock", "#"]
    ),
    st.integers(0, 2**31 - 1),
    st.booleans(),
    st.none(),
)  # fmt: skip
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, min_size=1, max_size=3), st.dictionaries(KEYS, inner, max_size=3)
    ),
    max_leaves=8,
)
DATA = st.dictionaries(KEYS, VALUES, min_size=1, max_size=3)


@settings(max_examples=settings().max_examples)
@given(data=DATA)
def test_what_is_written_is_what_is_read(data: Data) -> None:
    """By our own reader of YAML, which knows nothing of the writer."""
    assert read_back(data) == data


def read_back(data: Data) -> Value:
    notes = Notebook()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file.yaml"
        path.write_text(yaml_text(data), encoding="utf-8")
        node = read_yaml(str(path), notes)
    assert isinstance(node, MappingNode)
    return _mapping(node)


def test_changes_of_different_values_are_one_file() -> None:
    """Keys beside each other are kept, at every level; what both say alike is said once."""
    first: Data = {"chips": {"a": {"rules": {"r": {"to": "x"}}}}}
    second: Data = {"chips": {"a": {"rules": {"r": {"to": "x", "if": "y"}}}, "b": {"initial": "z"}}}
    assert merged(first, second) == {
        "chips": {"a": {"rules": {"r": {"to": "x", "if": "y"}}}, "b": {"initial": "z"}}
    }
    assert first == {"chips": {"a": {"rules": {"r": {"to": "x"}}}}}


def test_changes_of_the_same_value_clash() -> None:
    """Neither is lost in silence."""
    with pytest.raises(Clash):
        merged({"links": {"a": {"capacity": 2}}}, {"links": {"a": {"capacity": 3}}})
    with pytest.raises(Clash):
        merged({"links": {"a": None}}, {"links": {"a": {"capacity": 3}}})


def test_the_size_counts_what_is_written() -> None:
    """Each item of a list, each key that is removed."""
    assert values_in({"a": {"b": ["x", "y"], "c": None}, "d": {}}) == 4


def test_a_replaced_item_is_one_difference() -> None:
    """As an item more or less is, so that another message comes before two messages at once."""
    pairs: list[tuple[Value, Value]] = [
        (["a"], ["b"]), (["a"], ["a", "b"]), (["a", "b"], ["b"]), (["a", "b"], ["b", "a"]),
        ("a", "b"), (None, ["a"]), (["a", "b"], ["c", "d"]),
    ]  # fmt: skip
    assert [difference_of(old, new) for old, new in pairs] == [1, 1, 1, 1, 1, 1, 2]


def test_one_item_and_a_list_of_one_are_the_same_candidate() -> None:
    """A rule as another chip has it, and with what it writes there, would be shown twice."""

    def doing(value: Value) -> Candidate:
        overlay: Data = {"chips": {"p": {"rules": {"again": {"do": value}}}}}
        return Candidate((RepairChange("writes", "again", overlay, frozenset()),))

    assert doing("flag = true").key == doing(["flag = true"]).key
    assert doing(["flag = true"]).key != doing(["flag = true", "n += 1"]).key
