"""Faults: what may strike, and how often."""

from __future__ import annotations

import pytest

from modecheck.model.parts import FaultGroup
from tests.model.folder import Folder, around


def groups_of(folder: Folder, faults: str) -> list[tuple[str, tuple[str, ...], int | None]]:
    device = folder.device(around("states: [s]", beside=f"faults: {faults}"))
    return [(group.kind, group.targets, group.at_most) for group in device.faults]


@pytest.mark.parametrize(
    ("faults", "groups"),
    [
        ("{}", []),
        ("~", []),
        ("{power_cut: {chips: hub}}", [("power_cut", ("hub",), None)]),
        ("{reset: {chips: [hub, tile], at_most: 1}}", [("reset", ("hub", "tile"), 1)]),
        ("{lose: {links: [up, up], at_most: 0}}", [("lose", ("up",), 0)]),
        (
            "{duplicate: [{links: [up], at_most: 2}, {links: [down]}], power_cut: {chips: [tile]}}",
            [
                ("duplicate", ("up",), 2),
                ("duplicate", ("down",), None),
                ("power_cut", ("tile",), None),
            ],
        ),
    ],
)
def test_faults_come_in_groups_with_a_budget(
    folder: Folder, faults: str, groups: list[tuple[str, tuple[str, ...], int | None]]
) -> None:
    """A budget is shared by its group; without one any number may strike."""
    assert groups_of(folder, faults) == groups


def test_a_group_has_a_name(folder: Folder) -> None:
    """Scenarios say which budget was spent."""
    device = folder.device(around("states: [s]", beside="faults: {lose: {links: [up, down]}}"))
    (group,) = device.faults
    assert isinstance(group, FaultGroup)
    assert group.name == "lose(up, down)"


@pytest.mark.parametrize(
    ("faults", "told"),
    [
        ("[lose]", "a list cannot be used as faults"),
        ("x", "'x' cannot be used as faults"),
        ("{powercut: {chips: [hub]}}", "did you mean 'power_cut'?"),
        ("{power_cut: ~}", "an empty value cannot be used as power_cut"),
        ("{power_cut: {chips: [hbu]}}", "did you mean 'hub'?"),
        ("{power_cut: {chips: []}}", "power_cut has no target"),
        ("{power_cut: {chips: ~}}", "power_cut has no target"),
        ("{power_cut: {chips: {a: b}}}", "a mapping cannot be used as a list"),
        ("{power_cut: {at_most: 1}}", "power_cut lacks 'chips'"),
        ("{power_cut: [x]}", "'x' cannot be used as power_cut"),
        ("{lose: {links: [hub]}}", "unknown link 'hub'"),
        ("{lose: {links: [up], at_most: -1}}", "an integer from 0 to 255"),
        ("{lose: {links: [up], at_most: 256}}", "an integer from 0 to 255"),
        ("{lose: {links: [up], at_most: some}}", "'some' cannot be used as at_most"),
        ("{lose: {links: [up], atmost: 1}}", "did you mean 'at_most'?"),
    ],
)
def test_faults_that_are_none_are_told(folder: Folder, faults: str, told: str) -> None:
    """Chips lose power, links lose messages."""
    assert told in folder.error(around("states: [s]", beside=f"faults: {faults}"))
