"""Take an item out of a list, with what only it needs: its line, a comma, or the list's key."""

from __future__ import annotations

from modecheck.editor.node_ends import NodeEnds
from modecheck.editor.positions import TextSpan
from modecheck.model.yaml_nodes import MappingNode, SequenceNode


def item_taken_out(ends: NodeEnds, top: MappingNode, key: str, number: int) -> TextSpan:
    """The characters without which the list under a key of the file lacks its item of a number. Of
    an only item, those of the key as well.
    """
    node = top.get(key)
    assert isinstance(node, SequenceNode)
    text, items = ends.text, node.items
    if len(items) == 1:
        whole = top.keys[key].place
        return _lines(ends, text.start_of(whole), ends.of_key(whole))
    starts = [text.start_of(one.place) for one in items]
    start, end = starts[number], ends.of_item(items[number].place)
    if text.text[text.line_start(start) : start].strip() == "-":
        return _lines(ends, start, end)
    if number + 1 < len(items):
        return TextSpan(start, starts[number + 1])
    return TextSpan(ends.of_item(items[number - 1].place), end)


def _lines(ends: NodeEnds, start: int, end: int) -> TextSpan:
    """All of the lines of some characters, with the break behind them."""
    text = ends.text
    behind = text.text[text.line_end(end) :]
    line_break = 2 if behind.startswith("\r\n") else 1 if behind else 0
    return TextSpan(text.line_start(start), text.line_end(end) + line_break)
