"""The models that are right: nothing is found in them, whatever option is chosen."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import pytest

from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import State
from modecheck.model.devices import read_device
from tests.models.bundled import CLEAN, TANDEM, name_of, verdict_on_every_variant


@pytest.mark.parametrize("model", CLEAN, ids=name_of)
def test_nothing_is_found_in_any_variant(model: Path) -> None:
    """Every clean model is complete and free of findings, and has nothing accepted to be so."""
    verdict = verdict_on_every_variant(model)
    assert [finding.id for finding in verdict.findings] == []
    assert verdict.accepted == ()
    assert verdict.not_evaluated == ()


@pytest.mark.parametrize("model", CLEAN, ids=name_of)
def test_every_state_is_visited_and_every_rule_taken(model: Path) -> None:
    """No part of a clean model is there for show, in some variant at least."""
    explored = [one.exploration for one in verdict_on_every_variant(model).explored]
    first = explored[0]
    for number, chip in enumerate(first.product.chips):
        visited = set[int]().union(*(one.occupied[number] for one in explored))
        assert len(visited) == len(chip.leaves), chip.name
    taken = set[int]().union(*(one.observed.taken for one in explored))
    assert taken == set(range(len(first.product.rules)))


@pytest.mark.parametrize("model", CLEAN, ids=name_of)
def test_what_people_and_surroundings_do_has_a_phrase(model: Path) -> None:
    """Scenarios read as sentences: every rule of an actor says what is done in words."""
    device = read_device(str(model))
    silent = [
        f"{chip.name}.{rule.title}"
        for chip in device.chips.values()
        if chip.actor
        for rule in chip.rules
        if not rule.phrase
    ]
    assert silent == []


def test_tandem_has_two_variants_of_a_size_for_the_plain_engine() -> None:
    """Rich enough to be believed, small enough to be explored in seconds: 20,000 to 100,000."""
    explored = verdict_on_every_variant(TANDEM).explored
    assert [one.variant for one in explored] == ["on_unplug=stay", "on_unplug=fall_back"]
    assert all(20_000 <= one.exploration.state_count <= 100_000 for one in explored)


def test_tandem_switches_between_every_two_modes() -> None:
    """Each ordered pair of wired, radio and bluetooth has a switch, in both variants."""
    for one in verdict_on_every_variant(TANDEM).explored:
        possible = {(switch.source, switch.target) for switch in one.switches if switch.possible}
        assert possible == set(permutations(("wired", "radio", "bluetooth"), 2))


def ways_on(space: Space, rule: str) -> set[tuple[State, State]]:
    """The pairs of states that a rule joins, told by a word of its label."""
    labels = {number for number, one in enumerate(space.product.labels) if rule in one.text.split()}
    return {
        (space.state(number), space.state(edge.target))
        for number in range(space.expanded)
        for edge in space.edges_from(number)
        if edge.label in labels
    }


@pytest.mark.thorough
def test_the_policy_of_tandem_makes_a_difference() -> None:
    """Pulling the laptop's cable from the same states leads to different ones in the variants."""
    stay, fall_back = (
        ways_on(one.exploration, "pull") for one in verdict_on_every_variant(TANDEM).explored
    )
    assert {before for before, _ in stay} == {before for before, _ in fall_back}
    assert stay != fall_back
