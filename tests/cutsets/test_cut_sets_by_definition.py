"""Minimal cut sets of random devices, against their definition: for each set of faults, the device
in which these may strike and no others is checked by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import product

import pytest
from hypothesis import assume, event, given, settings

from modecheck.checks.verdict import check
from modecheck.cutsets.breaking import ASKED
from modecheck.cutsets.counted_faults import CountedFaults, Counts, includes
from modecheck.cutsets.fault_table import FaultTable, fault_table
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.parts import Device
from tests.generation.devices import Drawn, devices

MOST_STATES = 150
MOST_FAULTS = 4
PLAIN = Search(engine="plain", limits=Limits(states=MOST_STATES))
COMPILED = Search(engine="compiled", limits=Limits(states=MOST_STATES))


def with_exactly(counted: CountedFaults, counts: Counts) -> Device:
    """The device in which these faults may strike."""
    groups = zip(counted.device.faults, counts, strict=True)
    allowed = tuple(replace(group, at_most=count) for group, count in groups)
    return replace(counted.device, faults=allowed, faults_in_all=None)


def found_with(device: Device) -> set[str]:
    """What is found in a device: requirements by their names, else kinds of findings; and which
    requirements are undecided.
    """
    verdict = check([device], search=PLAIN, today=date(2026, 1, 1))
    ids = {finding.id for finding in (*verdict.findings, *(a.finding for a in verdict.accepted))}
    kinds = {one for one in map(kind_of, ids) if one.partition(":")[0] in ASKED}
    kinds |= {f"broken-requirement:{j.need.name}" for j in verdict.requirements if j.finding}
    return kinds | {f"undecided:{name}" for name in verdict.not_evaluated}


def kind_of(id_: str) -> str:
    return id_ if id_.startswith("broken-requirement:") else id_.partition(":")[0]


def by_definition(counted: CountedFaults) -> dict[str, set[Counts]]:
    """For all that is found with some set of faults, the minimal sets with which it is."""
    least: dict[str, set[Counts]] = {}
    every = product(range(counted.most + 1), repeat=len(counted.faults))
    for counts in sorted((one for one in every if sum(one) <= counted.in_all), key=sum):
        for one in found_with(with_exactly(counted, counts)):
            known = least.setdefault(one, set())
            if not any(includes(counts, smaller) for smaller in known):
                known.add(counts)
    return least


def in_table(table: FaultTable) -> dict[str, set[Counts]]:
    """The same from the table: a kind is found with a set if one of its findings is."""
    every: dict[str, set[Counts]] = {}
    for one in table.breakable:
        sets = {cut.counts for cut in one.sets}
        every.setdefault(kind_of(one.id), set()).update(sets)
    return {kind: set(_minimal(sets)) for kind, sets in every.items() if sets}


def _minimal(sets: set[Counts]) -> Iterator[Counts]:
    for one in sets:
        if not any(other != one and includes(one, other) for other in sets):
            yield one


def assert_as_defined(drawn: Drawn, search: Search) -> None:
    table = fault_table(drawn.read(), 1, 2, search)
    assume(not table.stopped_by and 0 < len(table.counted.faults) <= MOST_FAULTS)
    known = by_definition(table.counted)
    undecided = {one.partition(":")[2] for one in known if one.startswith("undecided:")}
    found = in_table(table)
    for one in {*known, *found}:
        name = one.partition(":")[2]
        if not one.startswith("undecided:") and name not in undecided:
            assert found.get(one, set()) == known.get(one, set()), one
            event(f"{one.partition(':')[0]} with {min(map(sum, found[one]))} faults")


@given(devices(options=False))
@settings(max_examples=max(1, settings().max_examples // 8))
def test_every_set_is_minimal_as_defined(drawn: Drawn) -> None:
    """All requirements and all kinds of findings, in small devices."""
    assert_as_defined(drawn, PLAIN)


@pytest.mark.thorough
@given(devices(options=False, timed=True))
@settings(max_examples=3 * settings().max_examples)
def test_every_set_is_minimal_where_time_is_counted(drawn: Drawn) -> None:
    """The same with a clock, in which observers cannot follow what is known."""
    assert_as_defined(drawn, PLAIN)


@pytest.mark.thorough
@given(devices(options=False))
@settings(max_examples=3 * settings().max_examples)
def test_the_compiled_engine_finds_the_same_sets(drawn: Drawn) -> None:
    """Slices of a graph of arrays in memory, and verdicts without exploring."""
    assert_as_defined(drawn, COMPILED)
