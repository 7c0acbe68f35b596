"""Read what may strike between any two steps, and how often."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from modecheck.model.conditions import names_in
from modecheck.model.keys import keys_of
from modecheck.model.outlines import is_empty
from modecheck.model.parts import FaultGroup
from modecheck.model.phrases import Phrases
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, SequenceNode

CHIP_FAULTS = ("power_cut", "reset")
LARGEST_BUDGET = 255
"""The most faults of one group; each multiplies the product, and small budgets find nearly all."""


class FaultReader:
    """Reads the section `faults`."""

    def __init__(
        self,
        shapes: Shapes,
        phrases: Phrases,
        chips: Collection[str],
        links: Mapping[str, tuple[str, ...]],
    ) -> None:
        """`links` maps what links are called to all those that the name stands for."""
        self._shapes = shapes
        self._phrases = phrases
        self._known = {"chips": {chip: (chip,) for chip in chips}, "links": links}

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
        known = self._known[where]
        names = names_in(
            self._shapes, record.entries[where], where[:-1], known, phrases=self._phrases
        )
        targets = tuple(target for name in names for target in known[name])
        if record.get(where) is None or is_empty(record.entries[where]):
            message = f"{kind} has no target"
            self._shapes.notes.add(message, record.place, expected=f"the names of {where}")
        budget = record.get("at_most")
        at_most = None
        if budget is not None:
            at_most = self._shapes.integer(budget, "at_most", 0, LARGEST_BUDGET)
        row = record.get("at_most_in_a_row")
        in_a_row = None
        if row is not None:
            in_a_row = self._shapes.integer(row, "at_most_in_a_row", 1, LARGEST_BUDGET)
        return FaultGroup(kind, targets, at_most, node.place, in_a_row)


def links_corrupted(node: Node | None) -> frozenset[str]:
    """The names of links that the section `faults` lets corrupt messages, known or not."""
    faults = node.get("corrupt") if isinstance(node, MappingNode) else None
    groups = faults.items if isinstance(faults, SequenceNode) else [faults]
    named = [group.get("links") for group in groups if isinstance(group, MappingNode)]
    lists = [one.items if isinstance(one, SequenceNode) else [one] for one in named]
    return frozenset(name.text for names in lists for name in names if isinstance(name, ScalarNode))
