"""Files laid over files: `based_on`, so that a variant says only what is different.

Mappings merge key by key, anything else replaces what it covers, and null removes a key. A null
that finds nothing to remove is kept: a chip's entry is laid over the chip's file later. Every node
keeps the place where it was written, so a finding points into the file that is to blame.
"""

from __future__ import annotations

import os

from modecheck.model.mistakes import Notebook
from modecheck.model.places import Place
from modecheck.model.yaml_nodes import Mapping, Node, Scalar, kind_of, read_yaml


def read_document(
    path: str, notes: Notebook, *, named_at: Place | None = None, chain: tuple[str, ...] = ()
) -> Mapping | None:
    """The mapping in the file at `path`, laid over the file that it is based on, if any.

    `chain` holds the files that are being read, so that a cycle of files is a mistake.
    """
    if _identity(path) in map(_identity, chain):
        notes.add(f"a cycle of files: {' → '.join([*chain, path])}", named_at)
        return None
    node = read_yaml(path, notes, named_at=named_at)
    if node is None:
        return None
    if not isinstance(node, Mapping):
        notes.add(f"{kind_of(node)} at the top", node.place, expected="a mapping of keys")
        return None
    base = node.get("based_on")
    if base is None:
        return node
    if not isinstance(base, Scalar):
        notes.add(f"{kind_of(base)} as based_on", base.place, expected="the name of a file")
        return None
    beneath = read_document(
        beside(base, base.text), notes, named_at=base.place, chain=(*chain, path)
    )
    return None if beneath is None else overlay(beneath, node)


def _identity(path: str) -> str:
    """The same for every name of a file; a name that no file can have stands for itself."""
    try:
        return os.path.realpath(path)
    except ValueError:
        return path


def beside(node: Node, name: str) -> str:
    """The path of the file `name`, as seen from the file in which `node` stands."""
    folder = os.path.dirname(node.place.file)
    return os.path.normpath(os.path.join(folder, name))


def overlay(base: Mapping, over: Mapping) -> Mapping:
    """A new mapping: `base` with `over` laid upon it; keys of `base` keep their order."""
    merged = Mapping(dict(base.entries), dict(base.keys), over.place)
    for name, node in over.entries.items():
        if isinstance(node, Scalar) and node.is_null and name in merged.entries:
            del merged.entries[name], merged.keys[name]
            continue
        beneath = merged.entries.get(name)
        both = isinstance(beneath, Mapping) and isinstance(node, Mapping)
        merged.entries[name] = overlay(beneath, node) if both else node  # type: ignore[arg-type]
        merged.keys[name] = over.keys[name]
    return merged
