"""Add a key, an item or a rule to a model, in the style in which its text is written there."""

from __future__ import annotations

from collections.abc import Iterable

from modecheck.editor.navigation import end_of
from modecheck.editor.positions import TextMap, TextSpan
from modecheck.editor.rename import Edit
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode


class NothingToChange(Exception):
    """The text is not of a form to which this could be added."""


def added_key(
    text: TextMap, path: str, mapping: MappingNode, key: str, value: str, after: Iterable[str] = ()
) -> Edit:
    """A key that the mapping does not have yet, behind those in `after`, else at its end."""
    if key in mapping.entries:
        raise NothingToChange
    start = text.start_of(mapping.place)
    if text.text[start : start + 1] == "{":
        return _in_brackets(path, start, f"{key}: {value}", empty=not mapping.entries)
    if not mapping.entries:
        raise NothingToChange
    names = [name for name in after if name in mapping.entries] or list(mapping.entries)
    last = names[-1]
    indent = _indent(text, next(iter(mapping.keys.values())))
    return _new_line(
        text, path, mapping.entries[last], mapping.keys[last], f"{indent}{key}:{_spaced(value)}"
    )


def _spaced(value: str) -> str:
    """A value as it stands behind a colon: on the same line, or on its own lines."""
    return value if value.startswith("\n") else f" {value}"


def _in_brackets(path: str, start: int, entry: str, *, empty: bool) -> Edit:
    """At the beginning of what stands in braces or brackets."""
    return Edit(path, TextSpan(start + 1, start + 1), entry if empty else f"{entry}, ")


def _indent(text: TextMap, key: ScalarNode) -> str:
    """The blanks before a key; a dash counts as one."""
    start = text.start_of(key.place)
    return " " * (start - text.line_start(start))


def _new_line(text: TextMap, path: str, node: Node, key: ScalarNode, line: str) -> Edit:
    """A line of its own behind a node."""
    end = text.line_end(max(end_of(text, node), text.span_of(key.place).end))
    return Edit(path, TextSpan(end, end), f"\n{line}")


def added_item(text: TextMap, path: str, top: MappingNode, key: str, item: str) -> Edit:
    """An item of the list under a key of the file, which is added if it is not there."""
    node = top.get(key)
    if node is None:
        if key in top.entries:
            raise NothingToChange
        return added_key(text, path, top, key, f"\n  - {item}")
    if not isinstance(node, SequenceNode) or not node.items:
        raise NothingToChange
    start = text.start_of(node.place)
    if text.text[start : start + 1] == "[":
        return _in_brackets(path, start, item, empty=False)
    first = text.start_of(node.items[0].place)
    begun = text.text[text.line_start(first) : first]
    dash = begun.rfind("-")
    if begun[:dash].strip():
        raise NothingToChange
    return _new_line(text, path, node.items[-1], top.keys[key], f"{' ' * dash}- {item}")


def added_answer(
    text: TextMap, path: str, body: MappingNode, key: str, state: str, message: str
) -> Edit:
    """A message that a state discards or defers, under the key of the chip."""
    node = body.get(key)
    if node is None:
        return added_key(text, path, body, key, f"{{{state}: [{message}]}}")
    if not isinstance(node, MappingNode):
        raise NothingToChange
    inside = node.get(state)
    if inside is None:
        return added_key(text, path, node, state, f"[{message}]")
    start = text.start_of(inside.place)
    if isinstance(inside, SequenceNode) and text.text[start : start + 1] == "[":
        return _in_brackets(path, start, message, empty=not inside.items)
    if isinstance(inside, ScalarNode):
        span = text.span_of(inside.place)
        return Edit(path, span, f"[{text.text[span.start : span.end]}, {message}]")
    raise NothingToChange


def added_rule(text: TextMap, path: str, body: MappingNode, title: str, rule: str) -> Edit:
    """A rule at the end of those of the chip."""
    node = body.get("rules")
    if node is None:
        return added_key(text, path, body, "rules", f"{{{title}: {rule}}}")
    if isinstance(node, MappingNode):
        return added_key(text, path, node, title, rule)
    if isinstance(node, SequenceNode):
        return added_item(text, path, body, "rules", rule)
    raise NothingToChange
