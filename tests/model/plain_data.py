"""YAML nodes as plain data, by the YAML 1.2 core schema, for the schemas and for mutations."""

from __future__ import annotations

import re
from typing import TypeAlias

from modecheck.model.errors import Notebook
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode, read_yaml

Data: TypeAlias = bool | int | float | str | list["Data"] | dict[str, "Data"] | None

FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
"""YAML 1.2.2, section 10.3.2 (from memory); infinity and not-a-number do not occur in models."""


def plain_data(node: Node) -> Data:
    """The node as lists, dictionaries and scalars; keys stay text."""
    if isinstance(node, MappingNode):
        return {name: plain_data(child) for name, child in node.entries.items()}
    if isinstance(node, SequenceNode):
        return [plain_data(item) for item in node.items]
    return _scalar(node)


def _scalar(scalar: ScalarNode) -> Data:
    if scalar.is_null:
        return None
    if scalar.truth is not None:
        return scalar.truth
    if scalar.integer is not None:
        return scalar.integer
    if scalar.plain and FLOAT.fullmatch(scalar.text):
        return float(scalar.text)
    return scalar.text


def data_in_file(path: str) -> Data:
    """What stands in a YAML file, without the files that it names. Raises `InvalidInput`."""
    notes = Notebook()
    node = read_yaml(path, notes)
    notes.raise_if_any()
    assert node is not None
    return plain_data(node)
