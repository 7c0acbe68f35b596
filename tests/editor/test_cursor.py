"""Where the cursor is, in texts that are valid and in texts that are not yet."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.editor.cursor import ITEM, cursor_at, keys_below
from modecheck.model.errors import Notebook
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode, parse_yaml
from tests.editor.texts import MODELS, cut
from tests.sweeps import sweep

KEYS = {
    "chips:\n  hub:\n    ru¦\n    file: x\n": (("chips", "hub"), "ru"),
    "chips:\n  hub: {file: a, wi¦": (("chips", "hub"), "wi"),
    "rules:\n  - in: x\n    i¦\n    to: y\n": (("rules", ITEM), "i"),
    "rules:\n- in: x\n  i¦": (("rules", ITEM), "i"),
    "rules:\n  a:\n    ¦": (("rules", "a"), ""),
    "accepted:\n  - ¦": (("accepted", ITEM), ""),
    "¦": ((), ""),
    "a: 1\n¦": ((), ""),
    "a: {b: [x, y], c: {d: 1}, ¦": (("a",), ""),
    "a:\n  b: 1\nc¦": ((), "c"),
    "rules:\n  a:\n    if: >-\n      x\n    ¦": (("rules", "a"), ""),
}
VALUES = {
    "chips:\n  hub: {with: {side: fr¦": (("chips", "hub", "with", "side"), "fr"),
    "rules:\n  a:\n    if: hub.¦\n    to: y\n": (("rules", "a", "if"), "hub."),
    "rules:\n  - {in: x, on: he¦": (("rules", ITEM, "on"), "he"),
    "rules:\n- in: x\n  send: [a via b, c v¦": (("rules", ITEM, "send", ITEM), "c v"),
    'rules:\n  a: {send: ["pic(x, y) via ¦': (("rules", "a", "send", ITEM), "pic(x, y) via "),
    "rules:\n  a:\n    if: >-\n      a and\n      hub.s¦": (("rules", "a", "if"), "hub.s"),
    "rules:\n  a: ¦": (("rules", "a"), ""),
    'accepted:\n  - finding: "dead¦': (("accepted", ITEM, "finding"), "dead"),
    "a: {never: hub.state in [x, ¦": (("a", "never"), "hub.state in [x, "),
    "a: [1,\n  {b: ¦": (("a", ITEM, "b"), ""),
    "a: &x {b: ¦": (("a", "b"), ""),
    "a: {b: &x {c: ¦": (("a", "b", "c"), ""),
}
NOWHERE = ("a:\n  # c¦", "a: 1 # c¦", 'a: "x"¦')


@pytest.mark.parametrize("text", KEYS)
def test_a_key_is_seen_while_it_is_written(text: str) -> None:
    """With the path of keys to its mapping."""
    cursor = cursor_at(*cut(text))
    assert cursor is not None
    assert cursor.at_key
    assert (cursor.path, cursor.text) == KEYS[text]


@pytest.mark.parametrize("text", VALUES)
def test_a_value_is_seen_while_it_is_written(text: str) -> None:
    """With the path of keys to it, in blocks, brackets and quotes."""
    cursor = cursor_at(*cut(text))
    assert cursor is not None
    assert not cursor.at_key
    assert (cursor.path, cursor.text) == VALUES[text]


@pytest.mark.parametrize("text", NOWHERE)
def test_nothing_is_offered_in_a_comment_or_behind_a_text(text: str) -> None:
    """Whatever was written there would not be read."""
    assert cursor_at(*cut(text)) is None


def test_keys_beside_are_known() -> None:
    """Those before the cursor, and those below it up to the end of the mapping."""
    text, offset = cut("r:\n  a:\n    in: x\n    ¦\n    to: y\n  b:\n    on: z\n")
    cursor = cursor_at(text, offset)
    assert cursor is not None
    assert cursor.beside == ("in",)
    assert keys_below(text, cursor) == ("to",)


def scalars(node: Node, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], ScalarNode]]:
    """Every value of a tree with the keys that lead to it."""
    if isinstance(node, MappingNode):
        for key, child in node.entries.items():
            yield from scalars(child, (*path, key))
    elif isinstance(node, SequenceNode):
        for child in node.items:
            yield from scalars(child, (*path, ITEM))
    else:
        yield path, node


PATHS = sorted(path.relative_to(MODELS).as_posix() for path in MODELS.rglob("*.yaml"))


@pytest.mark.parametrize("name", sweep(PATHS, lambda name: name == "tandem/chips/tablet.yaml"))
def test_the_cursor_is_where_the_yaml_library_says(name: str) -> None:
    """At each value of a bundled model, the path is that of PyYAML's tree, another reader."""
    text = (MODELS / name).read_text(encoding="utf-8")
    tree = parse_yaml(name, text, Notebook())
    assert tree is not None
    lines = text.split("\n")
    seen = set()
    for path, scalar in scalars(tree):
        if scalar.place in seen:
            continue  # what an alias repeats stands elsewhere
        seen.add(scalar.place)
        line, column = scalar.place.line, scalar.place.column + (0 if scalar.plain else 1)
        if scalar.is_null or lines[line - 1][scalar.place.column - 1] in ">|":
            continue
        offset = sum(len(one) + 1 for one in lines[: line - 1]) + column
        cursor = cursor_at(text, offset)
        assert cursor is not None, (path, scalar.text)
        assert cursor.path == path
        # A word behind a dash may still become a key.
        assert not cursor.at_key or path[-1:] == (ITEM,)


@given(st.text(st.sampled_from("ab:-{}[]\"'#|> \n,"), max_size=60), st.integers(0, 60))
def test_no_text_is_too_odd(text: str, offset: int) -> None:
    """Whatever is typed, there is an answer or none, and never an error."""
    cursor = cursor_at(text, offset)
    assert cursor is None or text[cursor.start : cursor.start + len(cursor.text)] == cursor.text
