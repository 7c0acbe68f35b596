"""Minimal devices with a fault, which say what is found in them, and twins without it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.model.devices import read_device
from modecheck.model.finding_kinds import KINDS
from modecheck.scenario.replay import replay
from tests.checks.test_findings_by_brute_force import shortest
from tests.second_reading.findings import findings_of
from tests.second_reading.search import search

DEVICES = sorted((Path(__file__).parent / "devices").glob("*.yaml"))
FAULTY = [path for path in DEVICES if not path.stem.endswith("_mended")]
BESIDE_STATES = ("unused", "needless-acceptance", "vacuous-requirement")
"""Codes that the second reading leaves out: about declarations, and about runs of an observer."""

TODAY = date(2026, 1, 1)


def verdict_on(path: Path) -> Verdict:
    return check([read_device(str(path))], today=TODAY)


def expected(verdict: Verdict) -> dict[str, int | None]:
    return {one.finding: one.steps for one in verdict.device.expected}


@pytest.mark.parametrize("path", DEVICES, ids=lambda path: path.stem)
def test_findings_are_those_that_the_file_expects(path: Path) -> None:
    """Exactly the expected findings, each once, with scenarios of exactly that length."""
    verdict = verdict_on(path)
    ids = [finding.id for finding in verdict.findings]
    assert len(set(ids)) == len(ids)
    assert {finding.id: finding.steps for finding in verdict.findings} == expected(verdict)


@pytest.mark.parametrize("path", DEVICES, ids=lambda path: path.stem)
def test_brute_force_finds_the_same(path: Path) -> None:
    """The expected lengths are the shortest ones: a slow search without the tool agrees. (Of a loop
    only the way to it is.)
    """
    verdict = verdict_on(path)
    told = {finding.id: shortest(finding) for finding in verdict.findings}
    accepted = {one.finding.id for one in verdict.accepted}
    found = {
        name: steps
        for name, steps in findings_of(search(verdict.device, 1000)).items()
        if name not in accepted
    }
    assert found == {
        name: told[name] for name in expected(verdict) if not name.startswith(BESIDE_STATES)
    }


@pytest.mark.parametrize("path", DEVICES, ids=lambda path: path.stem)
def test_scenarios_can_be_replayed(path: Path) -> None:
    """Every scenario is a run of the device."""
    verdict = verdict_on(path)
    product = verdict.explored[0].exploration.product
    for finding in verdict.findings:
        if finding.trace is not None:
            assert len(list(replay(product, finding.trace.moves))) == finding.steps


@pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.stem)
def test_each_faulty_device_has_a_mended_twin_without_findings(path: Path) -> None:
    """What is found can be mended: the twin differs in little and has no finding."""
    verdict = verdict_on(path.with_stem(f"{path.stem}_mended"))
    assert verdict.findings == ()
    assert expected(verdict) == {}


def test_every_kind_of_finding_has_a_device() -> None:
    """No code is left without a minimal device that has it."""
    codes = {name.split(":")[0] for path in FAULTY for name in expected(verdict_on(path))}
    assert codes == set(KINDS)
