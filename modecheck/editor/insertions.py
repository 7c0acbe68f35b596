"""Add a key, an item or a rule to a model, in the style in which its text is written there."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.editor.node_ends import NodeEnds
from modecheck.editor.positions import TextSpan
from modecheck.editor.rename import Edit
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode

MARKS = re.compile(r"(?:[&!]\S*\s+)*")
"""An anchor or a tag before a value."""


class NothingToChange(Exception):
    """The text is not of a form to which this could be added."""


@dataclass(frozen=True, slots=True)
class Insertions:
    """Makes edits of the text at a path, which can be read as it is. Each of them raises
    `NothingToChange`.
    """

    path: str
    ends: NodeEnds

    def key(self, mapping: MappingNode, key: str, value: str, after: Iterable[str] = ()) -> Edit:
        """A key that the mapping does not have yet, behind those in `after`, else at its end."""
        if key in mapping.entries:
            raise NothingToChange
        start = self._in_brackets(mapping)
        if start is not None:
            return self._first(start, f"{key}: {value}", alone=not mapping.entries)
        if not mapping.entries:
            raise NothingToChange
        names = [name for name in after if name in mapping.entries] or list(mapping.entries)
        indent = self._indent(next(iter(mapping.keys.values())))
        spaced = value if value.startswith("\n") else f" {value}"
        return self._new_line(mapping.keys[names[-1]], f"{indent}{key}:{spaced}")

    def item(self, top: MappingNode, key: str, item: str) -> Edit:
        """An item of the list under a key of the file, which is added if it is not there."""
        node = top.get(key)
        if node is None:
            if key in top.entries:
                raise NothingToChange
            in_brackets = self._in_brackets(top) is not None
            return self.key(top, key, f"[{item}]" if in_brackets else f"\n  - {item}")
        if not isinstance(node, SequenceNode):
            raise NothingToChange
        start = self._in_brackets(node)
        if start is not None:
            return self._first(start, item, alone=not node.items)
        first = self.ends.text.start_of(node.items[0].place)
        begun = self.ends.text.text[self.ends.text.line_start(first) : first]
        dash = begun.rfind("-")
        if begun[:dash].strip():
            raise NothingToChange
        return self._new_line(top.keys[key], f"{' ' * dash}- {item}")

    def answer(self, body: MappingNode, key: str, state: str, message: str) -> Edit:
        """A message that a state discards or defers, under the key of the chip."""
        node = body.get(key)
        if node is None:
            return self.key(body, key, f"{{{state}: [{message}]}}")
        if not isinstance(node, MappingNode):
            raise NothingToChange
        inside = node.get(state)
        if inside is None:
            return self.key(node, state, f"[{message}]")
        start = self._in_brackets(inside)
        if isinstance(inside, SequenceNode) and start is not None:
            return self._first(start, message, alone=not inside.items)
        if isinstance(inside, ScalarNode):
            span = self.ends.text.span_of(inside.place)
            written = self.ends.text.text[span.start : span.end]
            return Edit(self.path, span, f"[{written}, {message}]")
        raise NothingToChange

    def rule(self, body: MappingNode, title: str, rule: str) -> Edit:
        """A rule at the end of those of the chip."""
        node = body.get("rules")
        if node is None:
            return self.key(body, "rules", f"{{{title}: {rule}}}")
        if isinstance(node, MappingNode):
            return self.key(node, title, rule)
        if isinstance(node, SequenceNode):
            return self.item(body, "rules", rule)
        raise NothingToChange

    def _in_brackets(self, node: Node) -> int | None:
        """Where the inside of a value in braces or brackets begins; None if it has none."""
        text = self.ends.text.text
        marks = MARKS.match(text, self.ends.text.start_of(node.place))
        start = marks.end() if marks else len(text)
        return start + 1 if text[start : start + 1] in ("{", "[") else None

    def _first(self, start: int, entry: str, *, alone: bool) -> Edit:
        return Edit(self.path, TextSpan(start, start), entry if alone else f"{entry}, ")

    def _indent(self, key: ScalarNode) -> str:
        """The blanks before a key; a dash counts as one."""
        start = self.ends.text.start_of(key.place)
        return " " * (start - self.ends.text.line_start(start))

    def _new_line(self, key: ScalarNode, line: str) -> Edit:
        """A line of its own behind what is under a key."""
        text = self.ends.text
        end = text.line_end(self.ends.of_key(key.place))
        line_break = "\r\n" if "\r\n" in text.text else "\n"
        return Edit(self.path, TextSpan(end, end), f"\n{line}".replace("\n", line_break))
