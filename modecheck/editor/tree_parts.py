"""The parts of a tree that are of the form that a model has; all else is passed over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from modecheck.model.copies import is_each
from modecheck.model.rule_drafts import name_of_signal
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode

DEEPEST_STATES = 20


def entries_of(node: Node | None) -> Iterable[tuple[str, Node]]:
    """The entries of a mapping; none of anything else."""
    return node.entries.items() if isinstance(node, MappingNode) else ()


def with_each(node: Node | None) -> Iterator[tuple[str, Node]]:
    """The entries of a mapping, and those under `each tile` in it."""
    for name, child in entries_of(node):
        if is_each(name):
            yield from entries_of(child)
        else:
            yield name, child


def texts_in(node: Node | None) -> Iterator[str]:
    """The texts of a scalar or of a list."""
    items = node.items if isinstance(node, SequenceNode) else [node]
    yield from (
        item.text.strip() for item in items if isinstance(item, ScalarNode) and not item.is_null
    )


def node_about(node: Node | None) -> str:
    """Its sentence, if it has one."""
    about = node.get("about") if isinstance(node, MappingNode) else None
    return " ".join(about.text.split()) if isinstance(about, ScalarNode) else ""


def unit_of(text: str) -> str:
    """The name of a chip without what stands in brackets behind it."""
    return text.partition("[")[0].strip()


def event_of(text: str) -> str:
    """The name of the message or signal that a rule waits for, without its link."""
    return unit_of(text.partition(" via ")[0])


def branches_of(rule: MappingNode) -> Iterator[MappingNode]:
    """A rule, and the branches of which it chooses one."""
    yield rule
    choose = rule.get("choose")
    for one in choose.items if isinstance(choose, SequenceNode) else ():
        if isinstance(one, MappingNode):
            yield one


def signals_in(rule: MappingNode) -> Iterator[str]:
    """The signals that a rule or one of its branches gives, without their values and numbers."""
    for one in branches_of(rule):
        yield from (unit_of(name_of_signal(text)) for text in texts_in(one.get("signal")))


def own_states(body: MappingNode) -> Iterator[tuple[str, Node]]:
    """The states that stand directly in a body, with their nodes."""
    node = body.get("states")
    if isinstance(node, SequenceNode):
        yield from ((item.text, item) for item in node.items if isinstance(item, ScalarNode))
    yield from entries_of(node)


def states_in(body: MappingNode, depth: int = 0) -> Iterator[tuple[str, Node]]:
    """Every state of a body with its node, those inside others, too."""
    for name, child in own_states(body):
        yield name, child
        if isinstance(child, MappingNode) and depth < DEEPEST_STATES:
            yield from states_in(child, depth + 1)


def rules_in(node: Node | None) -> Iterator[tuple[str, MappingNode]]:
    """The rules of a section with their names, empty for those without one."""
    if isinstance(node, SequenceNode):
        for item in node.items:
            if isinstance(item, MappingNode):
                yield from _rule_of_list(item)
    for name, child in entries_of(node):
        if is_each(name):
            yield from rules_in(child)
        elif isinstance(child, MappingNode):
            yield name, child


def _rule_of_list(item: MappingNode) -> Iterator[tuple[str, MappingNode]]:
    if len(item.entries) == 1 and is_each(next(iter(item.entries))):
        yield from rules_in(next(iter(item.entries.values())))
        return
    name = item.get("name")
    yield (name.text if isinstance(name, ScalarNode) else ""), item


def words_of_type(node: Node | None) -> Iterator[str]:
    """The words that a variable or a message can hold."""
    if isinstance(node, MappingNode):
        yield from texts_in(node.get("one_of"))


def is_bond(node: Node | None) -> bool:
    return isinstance(node, MappingNode) and node.get("bond") is not None


def is_truth(node: Node | None) -> bool:
    """Whether a variable is true or false."""
    if isinstance(node, ScalarNode):
        return node.text == "bool" or node.truth is not None
    if not isinstance(node, MappingNode):
        return False
    start = node.get("start")
    known = any(node.get(key) is not None for key in ("range", "one_of", "bond"))
    starts = isinstance(start, ScalarNode) and start.truth is not None
    return node.get("bool") is not None or (starts and not known)
