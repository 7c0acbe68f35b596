"""Folding is the existential quotient (Clarke, Grumberg, Long 1994; the definition from memory)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from modecheck.checks.folding import fold, parts_known
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, devices
from tests.models.bundled import STARTER, TANDEM, verdict_on

MOST = 300


def key_of(space: PlainExploration, number: int, parts: list[str]) -> tuple[str, ...]:
    """The values of some parts in a state, read field by field."""
    state, names = space.state(number), [field.name for field in space.product.fields]
    key = []
    for part in parts:
        value, type_ = state[names.index(part)], space.product.fields[names.index(part)].type
        chip = next(chip for chip in space.product.chips if part.startswith(f"{chip.name}."))
        key.append(chip.leaves[value] if type_ is None else type_.spell(value))
    return tuple(key)


@given(devices(starts=True))
@settings(max_examples=settings().max_examples * 3 // 5)
def test_every_step_and_nothing_else_is_in_the_fold(drawn: Drawn) -> None:
    """A folded step has a witness, every step between two folded states is one, and one is certain
    exactly if every state of its source has it.
    """
    space = explore(compose(drawn.read()), max_states=MOST)
    parts = [part for part in parts_known(space.product) if part != "mode"][::2]
    folding = fold(space, parts)
    keys = [key_of(space, number, parts) for number in range(space.state_count)]
    wanted: dict[tuple[object, object], set[int]] = {}
    labels: dict[tuple[object, object], set[int]] = {}
    inside = 0
    for number in range(space.expanded):
        for edge in space.edges_from(number):
            pair = (keys[number], keys[edge.target])
            if pair[0] == pair[1]:
                inside += 1
                continue
            wanted.setdefault(pair, set()).add(number)
            labels.setdefault(pair, set()).add(edge.label)
    names = [state.key for state in folding.states]
    found = {(names[step.source], names[step.target]): step for step in folding.steps}
    assert found.keys() == wanted.keys()
    for pair, step in found.items():
        assert step.states == len(wanted[pair])
        assert set(step.labels) == labels[pair]
        assert folding.is_certain(step) == (keys.count(pair[0]) == len(wanted[pair]))
    assert {state.key: state.states for state in folding.states} == {
        key: keys.count(key) for key in keys
    }
    assert sum(state.inside for state in folding.states) == inside
    assert folding.complete == space.complete


@pytest.mark.thorough
def test_tandem_folded_by_mode() -> None:
    """Every mode, and no mode, with as many states as the verdict counts."""
    explored = verdict_on(TANDEM).explored[0]
    folding = fold(explored.exploration, ["mode"])
    counts = {state.key[0]: state.states for state in folding.states}
    assert counts.pop("no mode") > 0
    assert counts == explored.modes


def test_what_cannot_be_folded_by_is_an_error_with_the_nearest_name() -> None:
    """All of them in one go."""
    space = explore(compose(read_device(str(STARTER))))
    with pytest.raises(InvalidInput) as caught:
        fold(space, ["pedal.stat", "mode", "nobody.at_home"])
    assert len(caught.value.errors) == 2
    assert "'pedal.state'" in str(caught.value)


def test_a_bound_makes_it_incomplete() -> None:
    """What is not folded is not passed over in silence."""
    space = explore(compose(read_device(str(STARTER))))
    folding = fold(space, ["pedal.state"], 3)
    assert not folding.complete
    assert sum(state.states for state in folding.states) == 3
