"""`choose` in a rule: ordered branches, each of which is read like a rule of its own.

A branch has what its rule says, with its own condition and its own effects. It is taken where the
rule's condition and its own hold and that of no branch before it does; all are judged before
anything is done. Where none holds, and there is no `else`, the rule is not enabled.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.model.errors import Notebook
from modecheck.model.keys import keys_of
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode, kind_of

ELSE = "else"
"""The key of the last branch, taken where no other is."""


@dataclass(frozen=True, slots=True)
class ChoiceDraft:
    """The place of a branch: in the rule `of`, as number `number` (from 1), under the condition
    `given`, and where those `before` do not hold.
    """

    of: str
    number: int
    given: Node | None
    before: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class BranchDraft:
    """A branch as it is written, what it is called, and the rule that it would be alone."""

    title: str
    written: MappingNode
    alone: MappingNode
    choice: ChoiceDraft


def branches_of(shapes: Shapes, rule: MappingNode, title: str) -> Iterator[BranchDraft]:
    """The branches of a rule with `choose`; errors are noted, and what has one is left out."""
    written = list(_written(shapes, rule.entries["choose"]))
    _note_order(shapes.notes, written)
    before: list[Node] = []
    titles: set[str] = set()
    for number, branch in enumerate(written, start=1):
        alone = ELSE if number == len(written) and branch.get(ELSE) is not None else str(number)
        called = f"{title}.{_own_name(shapes, branch) or alone}"
        if called in titles:
            message = f"{called!r} is the name of two branches"
            shapes.notes.add(message, branch.place, expected="different names")
        titles.add(called)
        choice = ChoiceDraft(title, number, rule.get("if"), tuple(before))
        yield BranchDraft(called, branch, _alone(rule, branch), choice)
        condition = branch.get("if")
        before += [condition] if condition is not None else []


def _written(shapes: Shapes, node: Node) -> Iterator[MappingNode]:
    if not isinstance(node, SequenceNode):
        expected = "a list of branches, [{if: …, to: …}, {else: true, to: …}]"
        shapes.notes.add(f"{kind_of(node)} cannot be used as choose", node.place, expected=expected)
        return
    if not node.items:
        shapes.notes.add("a choice without branches", node.place, expected="at least one branch")
    for item in node.items:
        record = shapes.record(item, "a branch", keys_of("branch"))
        if record is not None:
            _note_condition(shapes, record)
            yield record


def _note_condition(shapes: Shapes, branch: MappingNode) -> None:
    """A branch has a condition, or is the one for all other cases."""
    condition, otherwise = branch.get("if"), branch.get(ELSE)
    if otherwise is not None and not shapes.truth(otherwise, ELSE, default=True):
        expected = "else: true, or a condition under 'if'"
        shapes.notes.add("'else' cannot be false", otherwise.place, expected=expected)
    if condition is not None and otherwise is not None:
        message = "a branch cannot have both 'if' and 'else'"
        shapes.notes.add(message, branch.keys[ELSE].place, expected="one of them")
    elif condition is None and otherwise is None:
        expected = "'if' with a condition, or 'else: true' in the last branch"
        shapes.notes.add("a branch without a condition", branch.place, expected=expected)


def _note_order(notes: Notebook, branches: list[MappingNode]) -> None:
    for branch in branches[:-1]:
        if branch.get(ELSE) is not None and branch.get("if") is None:
            message = "no branch behind 'else' can be taken"
            notes.add(message, branch.keys[ELSE].place, expected="'else' in the last branch")


def _own_name(shapes: Shapes, branch: MappingNode) -> str | None:
    named = branch.get("name")
    scalar = shapes.scalar(named, "name", "the name of a branch") if named is not None else None
    return shapes.identifier(scalar, "the name of a branch") if scalar is not None else None


def _alone(rule: MappingNode, branch: MappingNode) -> MappingNode:
    """The rule with the condition and the effects of one branch."""
    entries: dict[str, Node] = {}
    keys: dict[str, ScalarNode] = {}
    for source, left_out in ((rule, {"choose", "if", "name"}), (branch, {ELSE, "name"})):
        entries |= {key: node for key, node in source.entries.items() if key not in left_out}
        keys |= {key: node for key, node in source.keys.items() if key not in left_out}
    return replace(branch, entries=entries, keys=keys, layers=())
