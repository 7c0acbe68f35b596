"""What requirements look at: the parts that their conditions name, through modes and lists, too."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.editor.device_names import ChipNames, DeviceNames
from modecheck.editor.entering import entered
from modecheck.editor.expression_words import Named, words_in
from modecheck.editor.tree_parts import branches_of, event_of, signals_in, texts_in
from modecheck.model.yaml_nodes import MappingNode, Node, SequenceNode

THROUGH = {"mode": "modes", "list": "lists"}
"""Names that stand for conditions."""


def looked_at(names: DeviceNames, requirement: Node) -> set[Named]:
    """What a requirement names."""
    found, waiting = set[Named](), list(_named_in(names, requirement, ""))
    while waiting:
        one = waiting.pop()
        if one in found:
            continue
        found.add(one)
        node = names.of(THROUGH[one.kind]).get(one.name) if one.kind in THROUGH else None
        if node is not None:
            waiting += _named_in(names, node, "")
    return found


def _named_in(names: DeviceNames, node: Node, key: str) -> Iterator[Named]:
    if isinstance(node, MappingNode):
        for inner, child in node.entries.items():
            if inner not in ("text", "builds_on", "within"):
                yield from _named_in(names, child, inner)
    elif isinstance(node, SequenceNode):
        for child in node.items:
            yield from _named_in(names, child, key)
    elif key in ("sent", "received"):
        yield Named("message", "", node.text.partition(".")[2].strip())
    elif key == "without":
        yield from (Named(kind, "", event_of(node.text)) for kind in ("message", "signal"))
    else:
        for word in words_in(node.text, "condition", names, ()):
            yield from word.means


def touched_by(names: DeviceNames, chip: ChipNames, title: str, rule: Node | None) -> set[Named]:
    """What a rule of a chip is and does: itself, the states that it leads to, the messages that it
    sends, the signals that it gives and the variables that it writes.
    """
    found = {Named("rule", chip.name, title)}
    if not isinstance(rule, MappingNode):
        return found
    found |= {Named("signal", "", chip.filled(text)) for text in signals_in(rule)}
    for one in branches_of(rule):
        for target in texts_in(one.get("to")):
            inside = entered(chip.body, chip.filled(target))
            found |= {Named("state", chip.name, state) for state in inside}
        for text in texts_in(one.get("send")):
            found |= {m for w in words_in(text, "send", names, [chip]) for m in w.means[:1]
                      if m.kind == "message"}  # fmt: skip
        for text in texts_in(one.get("do")):
            written = text.partition("=")[0]
            found |= {m for w in words_in(written, "assignment", names, [chip]) for m in w.means}
    return found
