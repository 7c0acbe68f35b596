"""A verdict as cases that pass or fail: never more favourable than the exit code."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.checks.explored import Verdict
from modecheck.cli.exit_codes import exit_code
from modecheck.engine.choice import Search
from modecheck.model.finding_kinds import KINDS
from modecheck.report.cases import FAILED, PASSED, SKIPPED, UNDECIDED, cases_of
from tests.cli.running import MODELS
from tests.cli.sample import SAMPLE
from tests.report.checked import FEW, ODD, SMALL_TWINS, checked, checked_text, twin


def code_of_cases(verdict: Verdict) -> int:
    """The exit code that a reader of the cases alone would expect."""
    outcomes = {case.outcome for case in cases_of(verdict)}
    return 1 if FAILED in outcomes else 3 if UNDECIDED in outcomes else 0


def code_of(verdict: Verdict) -> int:
    return exit_code(found=bool(verdict.findings), complete=verdict.complete)


@pytest.mark.parametrize("search", [None, FEW, Search(order=True), Search(symmetry=True)])
@pytest.mark.parametrize("name", SMALL_TWINS)
def test_cases_agree_with_the_exit_code(name: str, search: Search | None) -> None:
    """Something failed exactly where there are findings, and nothing incomplete looks passed."""
    verdict = checked(twin(name), search)
    assert code_of_cases(verdict) == code_of(verdict)


def test_every_finding_belongs_to_one_case(tmp_path: Path) -> None:
    """Nothing is told twice, and nothing is left out."""
    for verdict in (*(checked(twin(name)) for name in SMALL_TWINS), checked_text(ODD, tmp_path)):
        told = [finding.id for case in cases_of(verdict) for finding in case.findings]
        assert sorted(told) == sorted(finding.id for finding in verdict.findings)


def test_there_is_a_case_for_each_requirement_and_each_class() -> None:
    """Broken requirements are told with the requirement."""
    names = [case.name for case in cases_of(checked(twin("silent_plug")))]
    assert names == ["heard", "note_ends", *(code for code in KINDS if code[:3] != "bro")]


def test_a_sound_device_passes_all() -> None:
    """Also what it has no part for, such as pairings."""
    verdict = checked(str(MODELS / "starter" / "device.yaml"))
    assert {case.outcome for case in cases_of(verdict)} == {PASSED}


def test_what_was_stopped_never_passes() -> None:
    """Only what is read off the text is known then."""
    cases = cases_of(checked(str(MODELS / "starter" / "device.yaml"), FEW))
    assert [case.name for case in cases if case.outcome == PASSED] == ["unused"]
    (deadlock,) = (case for case in cases if case.name == "deadlock")
    assert deadlock.reason == "incomplete: stopped by the bound of 3 states"


def test_what_a_reduction_does_not_ask_never_passes() -> None:
    """One order of steps shows deadlocks, and nothing else."""
    cases = cases_of(checked(str(MODELS / "starter" / "device.yaml"), Search(order=True)))
    passed = [case.name for case in cases if case.outcome == PASSED]
    assert passed == ["deadlock", "unused"]


def test_what_is_lived_with_is_skipped(tmp_path: Path) -> None:
    """An accepted finding, and a requirement that nothing puts to the test, are no passes."""
    cases = {case.name: case for case in cases_of(checked_text(ODD, tmp_path))}
    assert cases["never_dark"].outcome == SKIPPED
    assert "we | live <with> it (until 2026-12-31)" in cases["never_dark"].reason
    assert cases["maybe"].outcome == SKIPPED
    assert cases["vacuous-requirement"].outcome == FAILED
    assert cases["lit"].outcome == PASSED


def test_an_accepted_class_is_skipped(tmp_path: Path) -> None:
    """It is known, and still no pass."""
    text = ODD.replace("broken-requirement:never_dark", "vacuous-requirement:maybe")
    cases = {case.name: case for case in cases_of(checked_text(text, tmp_path))}
    assert cases["vacuous-requirement"].outcome == SKIPPED
    assert "we | live <with> it" in cases["vacuous-requirement"].reason
    assert cases["never_dark"].outcome == FAILED


def test_a_requirement_that_falls_with_another_is_skipped(tmp_path: Path) -> None:
    """What is left to read is the cause."""
    text = ODD[: ODD.index("accepted")].replace("always: hub.lit == 0", "always: hub.lit == 1")
    cases = {case.name: case for case in cases_of(checked_text(text, tmp_path))}
    assert cases["lit"].outcome == FAILED
    assert cases["never_dark"].outcome == SKIPPED
    assert "builds on lit" in cases["never_dark"].reason


def test_what_is_asked_of_all_variants_is_skipped_in_one(tmp_path: Path) -> None:
    """Another choice of an option may put a requirement to the test."""
    one = {case.name: case for case in cases_of(checked_text(SAMPLE, tmp_path))}
    assert one["vacuous-requirement"].outcome == SKIPPED
    path = str(tmp_path / "device.yaml")
    every = {case.name: case for case in cases_of(checked(path, every=True))}
    assert every["vacuous-requirement"].outcome == PASSED
    assert every["never_dark"].outcome == FAILED
