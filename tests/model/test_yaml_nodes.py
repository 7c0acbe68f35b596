"""Reading YAML into nodes: what a scalar means, where things stand, and how much is too much."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.errors import InvalidInput, Notebook
from modecheck.model.text_files import MOST_BYTES
from modecheck.model.yaml_nodes import (
    DEEPEST,
    LARGEST_INTEGER,
    MOST_NODES,
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    kind_of,
    read_yaml,
)
from tests.model.plain_data import Data, plain_data

MODELS = Path(__file__).parents[2] / "models"


def read(folder: Path, text: str) -> Node:
    """The node that the text makes."""
    path = folder / "text.yaml"
    path.write_text(text, encoding="utf-8")
    notes = Notebook()
    node = read_yaml(str(path), notes)
    notes.raise_if_any()
    assert node is not None
    return node


def told(folder: Path, text: str | bytes) -> str:
    """The errors in the text."""
    path = folder / "text.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    notes = Notebook()
    read_yaml(str(path), notes)
    with pytest.raises(InvalidInput) as caught:
        notes.raise_if_any()
    return str(caught.value).replace(f"{folder}/", "")


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        *((word, word) for word in ("on", "off", "yes", "no", "y", "n", "On", "NO", "tRUE")),
        *((word, True) for word in ("true", "True", "TRUE")),
        *((word, False) for word in ("false", "False", "FALSE")),
        *((word, None) for word in ("null", "Null", "NULL", "~")),
        ("0", 0), ("-7", -7), ("+7", 7), ("0o17", 15), ("0xfF", 255), ("0777", 777),
        ("12:30:45", "12:30:45"), ("1_000", "1_000"), ("0b11", "0b11"), ("-0x1", "-0x1"),
        ("'7'", "7"), ('"true"', "true"), ("'null'", "null"), ("''", ""), ("<<", "<<"),
    ],
)  # fmt: skip
def test_scalars_mean_what_the_core_schema_says(tmp_path: Path, text: str, meaning: Data) -> None:
    """YAML 1.2.2, section 10.3.2 (from memory): only true and false are booleans; no octal by 0."""
    assert plain_data(read(tmp_path, f"[{text}]")) == [meaning]


@pytest.mark.parametrize("text", [str(LARGEST_INTEGER), str(-LARGEST_INTEGER), "0x7fffffff"])
def test_integers_have_32_bits(tmp_path: Path, text: str) -> None:
    """The largest integers are read, and one more is none."""
    node = read(tmp_path, text)
    assert isinstance(node, ScalarNode)
    assert node.integer is not None
    beyond = ScalarNode(f"{LARGEST_INTEGER + 1}", plain=True, place=node.place)
    assert beyond.integer is None
    assert beyond.looks_like_integer


def test_places_count_from_one(tmp_path: Path) -> None:
    """Every node knows line, column and width; a key is a node of its own."""
    node = read(tmp_path, "first: 1\nsecond:\n  - äöü: [x, 'long text']\n")
    assert isinstance(node, MappingNode)
    second = node.entries["second"]
    assert isinstance(second, SequenceNode)
    inner = second.items[0]
    assert isinstance(inner, MappingNode)
    items = inner.entries["äöü"]
    assert isinstance(items, SequenceNode)
    places = [node.keys["second"].place, inner.keys["äöü"].place, items.items[1].place]
    assert [(place.line, place.column, place.width) for place in places] == [
        (2, 1, 6), (3, 5, 3), (3, 14, 11),
    ]  # fmt: skip


def test_a_null_counts_as_absent(tmp_path: Path) -> None:
    """`get` tells a key without a value from one with an empty text."""
    node = read(tmp_path, "a:\nb: ''\nc: ~\n")
    assert isinstance(node, MappingNode)
    assert node.get("a") is node.get("c") is node.get("d") is None
    assert node.get("b") is not None


def test_an_alias_is_the_node_of_its_anchor(tmp_path: Path) -> None:
    """What stands once is read once, and keeps the place where it stands."""
    node = read(tmp_path, "a: &x [1]\nb: *x\n")
    assert isinstance(node, MappingNode)
    assert node.entries["a"] is node.entries["b"]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("{}", "a mapping"),
        ("[]", "a list"),
        ("~", "an empty value"),
        ("''", "''"),
        ("a" * 99, "aaa"),
    ],
)
def test_kinds_have_names(tmp_path: Path, text: str, kind: str) -> None:
    """An error says what was found in a word."""
    assert kind in kind_of(read(tmp_path, text))


def test_nesting_ends_at_a_known_depth(tmp_path: Path) -> None:
    """The deepest level is read and one more is refused, in brackets and in indentation."""
    read(tmp_path, "[" * DEEPEST + "]" * DEEPEST)
    assert "nested too deeply" in told(tmp_path, "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1))
    block = "".join(f"{' ' * level}a:\n" for level in range(DEEPEST + 1))
    assert f"text.yaml:{DEEPEST + 1}:" in told(tmp_path, block)


def test_files_end_at_a_known_size(tmp_path: Path) -> None:
    """The largest file is read and one byte more is refused before it is read."""
    text = "a: " + "x" * (MOST_BYTES - 3)
    read(tmp_path, text)
    assert "is too large: 4,194,305 bytes" in told(tmp_path, text + "x")


def test_aliases_count_as_what_they_stand_for(tmp_path: Path) -> None:
    """Ten times a thousand values are ten thousand, written out or not."""
    thousand = "&a [" + "1," * 999 + "]"
    just = (MOST_NODES - 1) // 1000
    read(tmp_path, f"[{thousand}{', *a' * (just - 1)}]")
    assert "expands to too many values" in told(tmp_path, f"[{thousand}{', *a' * just}]")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: 1\na: 2\n", "text.yaml:2:1: 'a' is given twice, first in line 1"),
        ("{a: 1, 'a': 2}", "text.yaml:1:8: 'a' is given twice"),
        ("[a]: 1", "text.yaml:1:1: a list cannot be a key"),
        ("{a: b}: 1", "text.yaml:1:1: a mapping cannot be a key"),
        ("a:\n\tb: 1", "text.yaml:2:1: the line is indented with a tab"),
        ("a: *b", "text.yaml:1:4: the anchor 'b' has not been defined above"),
        ("a: &b [*b]", "text.yaml:1:8: the anchor 'b' contains itself"),
        ("a: 1\n---\nb: 1", "text.yaml:2:1: this file has a second document"),
        ("a: !tile 1", "text.yaml:1:4: the tag '!tile' is not supported"),
        ("!!map {}", "text.yaml:1:1: the tag 'tag:yaml.org,2002:map' is not supported"),
        ('a: "\\e[1m"', "text.yaml:1:4: a control character (0x1b) in a text"),
        ("a: \x07", "text.yaml:1:4: a control character (0x07) in the text"),
        ("", "text.yaml:1:1: the file is empty"),
        ("# nothing\n", "text.yaml:1:1: the file is empty"),
        ("a: [1", "text.yaml:1:4: '[' is never closed"),
        ("a: [", "text.yaml:1:4: not valid YAML"),
        ('a: "b\nc: d\n', "text.yaml:1:4: not valid YAML"),
        ("a: b: c", "quotes around a text that contains ': '"),
        ("a: %b", "quotes around a text that begins with this character"),
        ('a: "\\d"', "single quotes"),
        ("Größe: ä".encode() + b"\xff", "text.yaml:1:9: this is not UTF-8 text"),
    ],
)
def test_errors_in_yaml_have_a_place(tmp_path: Path, text: str | bytes, message: str) -> None:
    """What is no YAML, or more than a model needs, is told where it stands."""
    assert message in told(tmp_path, text)


def test_a_byte_order_mark_is_no_text(tmp_path: Path) -> None:
    """Some editors write one; columns count as if it were not there."""
    assert "text.yaml:1:5: not valid YAML" in told(tmp_path, b"\xef\xbb\xbfa: [}")


PRINTABLE = st.characters(exclude_categories=("C", "Zl", "Zp"))
TEXTS = st.text(PRINTABLE, max_size=12)
TREES: st.SearchStrategy[Data] = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST_INTEGER, LARGEST_INTEGER) | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=20,
)


@given(tree=TREES)
def test_json_reads_as_what_it_says(tmp_path: Path, tree: Data) -> None:
    """JSON is YAML (YAML 1.2.2, section 1.2): any tree written as JSON is read back the same.

    Characters beyond 16 bits are written as such: PyYAML does not read them as pairs of escapes.
    """
    assert plain_data(read(tmp_path, json.dumps(tree, ensure_ascii=False))) == tree


def test_the_slow_parser_reads_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where PyYAML was built without its C library, nodes and places are the same."""
    path = str(MODELS / "tandem" / "device.yaml")
    fast = read_yaml(path, Notebook())
    monkeypatch.delattr(yaml, "CSafeLoader")
    assert read_yaml(path, Notebook()) == fast
