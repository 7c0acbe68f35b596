"""Read what may strike between any two steps, and how often."""

from __future__ import annotations

from collections.abc import Collection

from modecheck.model.conditions import names_in
from modecheck.model.keys import keys_of
from modecheck.model.outlines import is_empty
from modecheck.model.parts import FaultGroup
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import Node, SequenceNode

CHIP_FAULTS = ("power_cut", "reset")
LARGEST_BUDGET = 255
"""The most faults of one group; each multiplies the product, and small budgets find nearly all."""


class FaultReader:
    """Reads the section `faults`."""

    def __init__(self, shapes: Shapes, chips: Collection[str], links: Collection[str]) -> None:
        self._shapes = shapes
        self._known = {"chips": chips, "links": links}

    def faults(self, node: Node | None) -> tuple[FaultGroup, ...]:
        """One group for each budget, in document order."""
        groups: list[FaultGroup] = []
        record = self._shapes.record(node, "faults", keys_of("faults")) if node else None
        for kind, child in (record.entries if record else {}).items():
            if kind not in keys_of("faults"):
                continue
            entries = child.items if isinstance(child, SequenceNode) else [child]
            for entry in entries:
                group = self._group(kind, entry)
                if group is not None:
                    groups.append(group)
        return tuple(groups)

    def _group(self, kind: str, node: Node) -> FaultGroup | None:
        where = "chips" if kind in CHIP_FAULTS else "links"
        record = self._shapes.record(node, kind, keys_of(f"fault_of_{where}"), required=(where,))
        if record is None:
            return None
        targets = names_in(self._shapes, record.entries[where], where[:-1], self._known[where])
        if record.get(where) is None or is_empty(record.entries[where]):
            message = f"{kind} has no target"
            self._shapes.notes.add(message, record.place, expected=f"the names of {where}")
        budget = record.get("at_most")
        at_most = None
        if budget is not None:
            at_most = self._shapes.integer(budget, "at_most", 0, LARGEST_BUDGET)
        return FaultGroup(kind, targets, at_most, node.place)
