"""JUnit XML: well-formed, of the shape that its readers share, and complete where something failed.

There is no published standard. The shape here is written from memory of what servers for continuous
integration read: suites with counts, cases with a name and a class name, and at most one outcome.
"""

from __future__ import annotations

import os
from pathlib import Path
from xml.etree import ElementTree

import pytest

from modecheck.checks.explored import Verdict
from modecheck.report.as_junit import junit_text
from modecheck.report.cases import cases_of
from tests.cli.running import MODELS
from tests.report.checked import FEW, ODD, SMALL_TWINS, checked, checked_text, twin

OUTCOMES = {"failure": "failures", "error": "errors", "skipped": "skipped"}
COUNTS = {"tests", *OUTCOMES.values()}


def parsed(verdict: Verdict) -> ElementTree.Element:
    """The top element, after its shape was looked at."""
    top = ElementTree.fromstring(junit_text(verdict))  # noqa: S314 - it is our own text
    need_shape(top)
    return top


def need_shape(top: ElementTree.Element) -> None:
    """Assert what readers of such files rely on."""
    assert top.tag == "testsuites"
    assert {suite.tag for suite in top} == {"testsuite"}
    for suite in top:
        assert set(suite.attrib) == {"name", *COUNTS}
        assert {case.tag for case in suite} == {"testcase"}
        for case in suite:
            assert set(case.attrib) == {"name", "classname"}
            assert len(case) <= 1
            assert {child.tag for child in case} <= set(OUTCOMES)
            for child in case:
                assert child.get("message")
                assert ("type" in child.attrib) == (child.tag != "skipped")
    for holder in (top, *top):
        assert int(holder.get("tests", "")) == len(list(holder.iter("testcase")))
        for tag, plural in OUTCOMES.items():
            assert int(holder.get(plural, "")) == len(list(holder.iter(tag)))


@pytest.mark.parametrize("name", SMALL_TWINS)
def test_the_file_has_the_shape_and_all_cases(name: str) -> None:
    """Counts agree with what they count."""
    verdict = checked(twin(name))
    assert len(list(parsed(verdict).iter("testcase"))) == len(cases_of(verdict))


@pytest.mark.parametrize("name", SMALL_TWINS)
def test_a_failure_tells_the_finding_with_its_whole_scenario(name: str) -> None:
    """Place, id, every step and the hint: nobody can ask a log for more."""
    verdict = checked(twin(name))
    told = "\n".join(failure.text or "" for failure in parsed(verdict).iter("failure"))
    flat = " ".join(told.split())
    for finding in verdict.findings:
        assert finding.id in told
        assert f":{finding.place.line}:{finding.place.column}" in told
        assert finding.hint in flat
        for step in finding.scenario:
            assert f"{step.number}. {' '.join(step.text.split())}" in flat


def test_a_sound_device_is_told_in_a_line_for_each_case() -> None:
    """There is nothing to read where nothing is wrong."""
    verdict = checked(str(MODELS / "starter" / "device.yaml"))
    assert all(len(case) == 0 for case in parsed(verdict).iter("testcase"))


def test_what_was_stopped_is_an_error_with_the_reason() -> None:
    """A server must not show it as passed."""
    top = parsed(checked(str(MODELS / "starter" / "device.yaml"), FEW))
    assert top.get("failures") == "0"
    assert int(top.get("errors", "")) == int(top.get("tests", "")) - 1
    messages = {error.get("message") for error in top.iter("error")}
    assert "incomplete: stopped by the bound of 3 states" in messages


def test_odd_names_stay_text(tmp_path: Path) -> None:
    """Whatever a model calls its parts."""
    top = parsed(checked_text(ODD, tmp_path))
    names = [case.get("name") for case in top.iter("testcase")]
    assert "never_dark: It is | never <script> `dark` #1" in names
    (skipped,) = (case[0] for case in top.iter("testcase") if "never_dark" in case.get("name", ""))
    assert "we | live <with> it" in skipped.get("message", "")


def test_what_xml_cannot_hold_is_replaced(tmp_path: Path) -> None:
    """A file may have a name that is no text."""
    path = tmp_path / os.fsdecode(b"ger\xe4t.yaml")
    path.write_text(ODD, encoding="utf-8")
    (failure,) = parsed(checked(str(path))).iter("failure")
    assert "ger\ufffdt.yaml:11:3" in (failure.text or "")
