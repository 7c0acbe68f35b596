"""The effects of single faults on random devices, against brute force."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, event, given, settings

from modecheck.cutsets.counted_faults import counted_faults
from modecheck.cutsets.effects import RETURNS, Effect
from modecheck.cutsets.fault_table import FaultTable, fault_table
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.cutsets.by_brute_force import Brute
from tests.generation.devices import Drawn, devices
from tests.models.bundled import MODELS
from tests.sweeps import sweep

MOST_STATES = 250


def assert_effects_agree(drawn: Drawn, engine: str) -> None:
    """Each mode and each pairing with the outcome that brute force finds."""
    search = Search(engine=engine, limits=Limits(states=MOST_STATES))  # type: ignore[arg-type]
    table = fault_table(drawn.read(), 1, 1, search)
    device = table.counted.declared
    assume(not table.stopped_by and table.single and (device.modes or device.pairings))
    for outcome in outcomes_agreeing(table):
        event(f"{outcome}")


def outcomes_agreeing(table: FaultTable) -> list[str | None]:
    """All outcomes, each compared with brute force, and with it how many steps it takes."""
    outcomes = []
    device = table.counted.declared
    product = compose(replace(counted_faults(device, 1, 1).device))
    names = [f"mode:{name}" for name in device.modes]
    names += [f"paired:{name}" for name in device.pairings]
    for one, labels in zip(table.single, table.counted.labels(product), strict=True):
        brute = Brute.of(product, labels)
        found = {_condition(effect): effect for effect in one.effects}
        for name in names:
            outcome = found[name].outcome if name in found else None
            assert outcome == brute.outcome(name), (one.name, name)
            if outcome == RETURNS:
                assert found[name].steps == brute.steps(name), (one.name, name)
            outcomes.append(outcome)
    return outcomes


def _condition(effect: Effect) -> str:
    return f"{'mode' if effect.kind == 'mode' else 'paired'}:{effect.name}"


@given(devices(options=False))
@settings(max_examples=max(1, settings().max_examples // 8))
def test_effects_are_those_that_brute_force_finds(drawn: Drawn) -> None:
    """Kept, returns, may return, lost, or unknown."""
    assert_effects_agree(drawn, "plain")


@pytest.mark.parametrize(
    "name",
    sweep(
        ["faulty/volatile_bond", "small/update", "small/handshake"],
        lambda name: name == "small/update",
    ),
)
def test_effects_on_bundled_models_are_those_that_brute_force_finds(name: str) -> None:
    """Of every single fault."""
    device = read_device(str(MODELS / f"{name}.yaml"), {})
    assert outcomes_agreeing(fault_table(device, 1, 1, Search(engine="plain")))


@pytest.mark.thorough
@given(devices(options=False))
@settings(max_examples=2 * settings().max_examples)
def test_the_compiled_engine_finds_the_same_effects(drawn: Drawn) -> None:
    """Arrays in memory in place of lists."""
    assert_effects_agree(drawn, "compiled")


@pytest.mark.thorough
@given(devices(options=False, timed=True))
@settings(max_examples=2 * settings().max_examples)
def test_effects_agree_where_time_is_counted(drawn: Drawn) -> None:
    """Time goes on when nobody acts."""
    assert_effects_agree(drawn, "plain")
