"""How a search came to what it found."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import TypeVar

Node = TypeVar("Node", bound=Hashable)
By = TypeVar("By")


def path_to(came: Mapping[Node, tuple[Node, By] | None], node: Node) -> list[tuple[By, Node]]:
    """By what a search came to a node, each with the node behind it, from its start on. `came` has
    for each node the one before it and by what it was left, and None for a start.
    """
    path: list[tuple[By, Node]] = []
    before = came[node]
    while before is not None:
        path.append((before[1], node))
        node = before[0]
        before = came[node]
    return path[::-1]
