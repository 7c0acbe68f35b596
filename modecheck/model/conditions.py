"""Read conditions and lists of known names, as links, modes, rules and requirements have them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from modecheck.model.meaning import understand_condition
from modecheck.model.phrases import Phrases
from modecheck.model.scopes import Scope
from modecheck.model.shapes import Shapes
from modecheck.model.syntax import parse_condition
from modecheck.model.terms import Term
from modecheck.model.yaml_nodes import Node, ScalarNode, SequenceNode, kind_of


def condition(shapes: Shapes, phrases: Phrases, scope: Scope, node: Node | None) -> Term | None:
    """The condition in a node, or None after noting an error or if there is no node."""
    if node is None:
        return None
    scalar = shapes.scalar(node, "a condition", "a condition")
    tree = phrases.parse(scalar, parse_condition) if scalar is not None else None
    if scalar is None or tree is None:
        return None
    return phrases.attempt(scalar, lambda: understand_condition(tree, scope))


def names_in(
    shapes: Shapes,
    node: Node | None,
    what: str,
    known: Collection[str] | None,
    *,
    phrases: Phrases,
    meant: Callable[[str], Sequence[str]] | None = None,
    empty: str = "",
) -> tuple[str, ...]:
    """A list of names, such as chips or links, that must be in `known`; None allows any name.

    `meant` tells what a name stands for, by default all copies of a chip or link.
    """
    if node is not None and not isinstance(node, (ScalarNode, SequenceNode)):
        shapes.notes.add(
            f"{kind_of(node)} cannot be used as a list", node.place, expected=f"a list of {what}s"
        )
        return ()
    given = shapes.scalars(node, f"a {what}", f"the name of a {what}")
    filled = [phrases.fill(scalar) for scalar in given]
    meant = meant or phrases.copies.names
    scalars = [replace(one, text=name) for one in filled for name in meant(one.text)]
    if known is None:
        return tuple(dict.fromkeys(scalar.text for scalar in scalars))
    found = (shapes.known(scalar, what, known, empty=empty) for scalar in scalars)
    return tuple(dict.fromkeys(name for name in found if name))
