"""The faulty twins: what `check` finds of them, some set within their budgets brings about."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.cutsets.breaking import ASKED
from modecheck.cutsets.fault_table import FaultTable, fault_table
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from tests.models.bundled import MODELS
from tests.sweeps import sweep

ALWAYS = ("volatile_bond", "patience_too_short", "radio_carries_edges", "silent_plug")
LARGE = Search(limits=Limits(states=20_000))
"""Twins of tandem are larger, and tell nothing that the small ones do not."""


def table_of(path: Path) -> FaultTable:
    return fault_table(read_device(str(path), {}), 2, 2, LARGE)


@pytest.mark.parametrize(
    "twin",
    sweep(sorted((MODELS / "faulty").glob("*.yaml")), lambda path: path.stem in ALWAYS),
    ids=lambda path: path.stem,
)
def test_every_expected_finding_has_a_set_that_the_budgets_allow_for(twin: Path) -> None:
    """And the command so exits with 1."""
    table = table_of(twin)
    if table.stopped_by:
        pytest.skip("too large for a test")
    expected = {one.finding for one in table.counted.declared.expected}
    asked = {id_ for id_ in expected if id_.partition(":")[0] in (*ASKED, "broken-requirement")}
    allowed = {one.id for one in table.breakable if any(cut.allowed for cut in one.sets)}
    assert asked <= allowed
    assert table.broken_as_modelled == bool(allowed)


def test_one_more_loss_than_a_tile_bears_in_a_row_breaks_its_link() -> None:
    """A radio that gives up after the second poll without an answer survives one loss, and not
    two; the original, which gives up later, survives both.
    """
    twin = table_of(MODELS / "faulty" / "patience_too_short.yaml")
    (lost,) = [one for one in twin.breakable if one.sets]
    assert [twin.counted.told(cut.counts) for cut in lost.sets] == ["lose(air) ×2"]
    assert lost.least == 2
    original = table_of(MODELS / "small" / "supervised.yaml")
    assert not any(one.sets for one in original.breakable)
