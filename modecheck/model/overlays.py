"""Overlay files on files: `based_on`, so that a variant states only what differs.

Mappings merge key by key, anything else replaces what it covers, and null removes a key. Every node
keeps the place where it was written, so a finding points into the file that caused it. A caller may
observe what is added, replaced and removed, as `modecheck.model.laying` does.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TypeAlias

from modecheck.model.errors import Notebook
from modecheck.model.places import Place
from modecheck.model.text_files import real_path
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, kind_of, read_yaml


class Watcher:
    """Is notified of each key that an overlay merges into a mapping; this one accepts all."""

    def adds(self, base: MappingNode, key: ScalarNode, node: Node) -> bool:  # noqa: ARG002
        """`node`, which is not null, is under a key that `base` lacks; False leaves it out."""
        return True

    def lacks(self, base: MappingNode, key: ScalarNode) -> bool:  # noqa: ARG002
        """A null has nothing to remove; False leaves it out."""
        return True

    def removes(self, beneath: Node, key: ScalarNode) -> None:
        """A null removes what is beneath."""

    def replaces(self, beneath: Node, key: ScalarNode, node: Node) -> None:
        """`node` covers what is beneath, as a whole."""

    def inside(self, key: ScalarNode) -> Watcher:  # noqa: ARG002
        """The observer of the two mappings under a key."""
        return self


Watching: TypeAlias = Callable[[MappingNode], Watcher]
"""Makes the observer of what is laid over a mapping."""


def unwatched(base: MappingNode) -> Watcher:  # noqa: ARG001
    """An observer that accepts everything."""
    return Watcher()


def read_document(
    path: str,
    notes: Notebook,
    *,
    named_at: Place | None = None,
    chain: tuple[str, ...] = (),
    watching: Watching = unwatched,
) -> MappingNode | None:
    """The mapping in the file at `path`, laid over the file that it is based on, if any.

    `chain` holds the files that are being read, so that a cycle of files is an error.
    """
    if real_path(path) in map(real_path, chain):
        notes.add(f"a cycle of files: {' → '.join([*chain, path])}", named_at)
        return None
    node = read_yaml(path, notes, named_at=named_at)
    if node is None:
        return None
    if not isinstance(node, MappingNode):
        notes.add(f"{kind_of(node)} at the top", node.place, expected="a mapping of keys")
        return None
    base = node.get("based_on")
    if base is None:
        return node
    if not isinstance(base, ScalarNode):
        notes.add(
            f"{kind_of(base)} cannot be used as based_on", base.place, expected="the name of a file"
        )
        return None
    beneath = read_document(
        beside(base, base.text),
        notes,
        named_at=base.place,
        chain=(*chain, path),
        watching=watching,
    )
    return None if beneath is None else overlay(beneath, node, watching(beneath))


def beside(node: Node, name: str) -> str:
    """The path of the file `name`, as seen from the file in which `node` stands."""
    folder = os.path.dirname(node.place.file)
    return os.path.normpath(os.path.join(folder, name))


def overlay(base: MappingNode, over: MappingNode, observer: Watcher | None = None) -> MappingNode:
    """A new mapping: `base` with `over` laid upon it; keys of `base` keep their order.

    Its `layers` are the mappings of which it was made, the lowest first.
    """
    observer = observer or Watcher()
    layers = (*(base.layers or (base,)), *(over.layers or (over,)))
    merged = MappingNode(dict(base.entries), dict(base.keys), over.place, layers)
    for name, node in over.entries.items():
        key, beneath = over.keys[name], merged.entries.get(name)
        removing = isinstance(node, ScalarNode) and node.is_null
        if removing and beneath is not None:
            observer.removes(beneath, key)
            del merged.entries[name], merged.keys[name]
            continue
        if beneath is None:
            wanted = observer.lacks(base, key) if removing else observer.adds(base, key, node)
            if not wanted:
                continue
        elif isinstance(beneath, MappingNode) and isinstance(node, MappingNode):
            node = overlay(beneath, node, observer.inside(key))
        else:
            observer.replaces(beneath, key, node)
        merged.entries[name], merged.keys[name] = node, key
    return merged
