"""Which states a chip enters together: those around a state, it, and the first ones inside."""

from __future__ import annotations

from modecheck.editor.tree_parts import own_states, texts_in
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode


def way_to(body: MappingNode, name: str) -> list[tuple[str, Node]]:
    """The states around a state, the outermost first, and it; nothing if there is none."""
    for one, node in own_states(body):
        if one == name:
            return [(one, node)]
        inside = way_to(node, name) if isinstance(node, MappingNode) else []
        if inside:
            return [(one, node), *inside]
    return []


def entered(body: MappingNode, name: str) -> list[str]:
    """All states that a chip is in once it has gone to this one."""
    way = way_to(body, name)
    found = [one for one, _ in way]
    node = way[-1][1] if way else None
    while isinstance(node, MappingNode):
        inside = dict(own_states(node))
        if not inside:
            break
        first = next(texts_in(node.get("initial")), "")
        found.append(first if first in inside else next(iter(inside)))
        node = inside[found[-1]]
    return found


def started_in(body: MappingNode) -> list[list[str]]:
    """The states that a chip starts in, for each of its starts."""
    names = [name for name, _ in own_states(body)]
    starts = list(texts_in(body.get("initial"))) or names[:1]
    return [entered(body, name) for name in starts]


def rests_in(body: MappingNode, name: str) -> bool:
    """Whether a chip rests in a state: as the nearest state around it says that says so."""
    rests = False
    for _, node in way_to(body, name):
        said = node.get("rest") if isinstance(node, MappingNode) else None
        if isinstance(said, ScalarNode) and said.truth is not None:
            rests = said.truth
    return rests
