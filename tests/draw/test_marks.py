"""Marks in statecharts that other programs hold on to."""

from __future__ import annotations

from modecheck.model.parts import Device
from tests.draw.conftest import Pictured


def test_each_state_has_one_group_that_bears_its_name(
    stage: Device, stage_picture: Pictured
) -> None:
    """Simple and composite states of every chip alike."""
    for chip in stage.chips.values():
        root = stage_picture(f"chip-{chip.name}").root
        names = [node.attrib["data-state"] for node in root.iter() if "data-state" in node.attrib]
        assert sorted(names) == sorted(chip.states)


def test_each_rule_is_named_where_it_is_told(stage: Device, stage_picture: Pictured) -> None:
    """At an arrow and its label; a rule that leaves no state, at the state or at the whole chip."""
    for chip in stage.chips.values():
        marked: dict[str, set[str]] = {}
        for node in stage_picture(f"chip-{chip.name}").root.iter():
            for title in node.attrib.get("data-rules", "").split("\n"):
                marked.setdefault(title, set()).add(node.attrib.get("class", "").split(" ")[0])
        for rule in chip.rules:
            if rule.target is not None:
                assert marked[rule.title] == {"arrow", "label"}
            elif rule.sources:
                assert marked[rule.title] <= {"state", "rest", "header"}
            else:
                assert marked[rule.title] == {"words"}
