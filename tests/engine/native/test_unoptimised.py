"""Unoptimised machine code runs slower, and does nothing else otherwise."""

from __future__ import annotations

import pytest

from modecheck.checks.verdict import check
from modecheck.engine.choice import OPTIMISED_FROM, Search
from modecheck.engine.contract.space import Limits
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.cli.running import MODELS


@pytest.mark.parametrize("name", ["faulty/silent_plug", "small/knob"])
def test_unoptimised_code_finds_what_the_interpreter_finds(name: str) -> None:
    """States, transitions, findings with their scenarios, and what is said of requirements."""
    device = read_device(str(MODELS / f"{name}.yaml"))
    searches = (
        Search(engine="plain"),
        Search(engine="compiled", expected=1),
        Search(engine="compiled", expected=OPTIMISED_FROM),
    )
    verdicts = [check([device], search=search) for search in searches]
    told = [
        (
            [
                (one.exploration.state_count, one.exploration.transitions)
                for one in verdict.explored
            ],
            [(one.id, one.steps, one.trace) for one in verdict.findings],
            [(one.need.name, one.verdict, one.rests_on) for one in verdict.requirements],
        )
        for verdict in verdicts
    ]
    assert told[0] == told[1] == told[2]


@pytest.mark.parametrize(("up_to", "most"), [(0, None), (10, None), (10, 15), (15, 10), (50, None)])
def test_unoptimised_code_is_left_where_there_are_many_states(up_to: int, most: int | None) -> None:
    """All is begun anew then, and what is found is the same, also up to a bound."""
    from modecheck.engine.native.machine import OPTIMISATION, UNOPTIMISED
    from modecheck.engine.native.run import explore_compiled

    product = compose(read_device(str(MODELS / "faulty" / "silent_plug.yaml")))
    limits = Limits(states=most)
    space = explore_compiled(
        product, threads=1, limits=limits, reporter=Silent(), unoptimised_up_to=up_to
    )
    assert space.state_count == (most or 20)
    assert space.stopped_by == (limits.reached_states if most else "")
    hasty = up_to >= (most or 20)
    assert space.found.machine.level == (UNOPTIMISED if hasty else OPTIMISATION)
