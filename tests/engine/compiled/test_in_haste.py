"""Machine code that is made in haste runs slower, and does nothing else otherwise."""

from __future__ import annotations

import pytest

from modecheck.checks.verdict import check
from modecheck.engine.choice import OPTIMISED_FROM, Search
from modecheck.model.devices import read_device
from tests.cli.running import MODELS


@pytest.mark.parametrize("name", ["faulty/silent_plug", "small/knob"])
def test_code_made_in_haste_finds_what_the_interpreter_finds(name: str) -> None:
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
            [(one.id, one.steps, one.way) for one in verdict.findings],
            [(one.need.name, one.verdict, one.rests_on) for one in verdict.requirements],
        )
        for verdict in verdicts
    ]
    assert told[0] == told[1] == told[2]
