"""The verdict as JUnit XML, which CI servers show as tests.

The format has no published standard. This is the part on which its common readers agree:
`testsuites`, `testsuite`, `testcase`, and in a case that did not pass one of `failure`, `error`
and `skipped`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from xml.etree import ElementTree

from modecheck.checks.explored import Verdict
from modecheck.report.cases import FAILED, REQUIREMENT, SKIPPED, UNDECIDED, Case, cases_of
from modecheck.report.terminal import finding_in_full

ELEMENTS = {FAILED: "failure", UNDECIDED: "error", SKIPPED: "skipped"}
NOT_XML = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters outside `Char` in XML 1.0 (W3C), which must not be written even as a reference."""


def junit_text(*verdicts: Verdict) -> str:
    """For each device, one suite for the requirements and one for the classes of findings.

    A passed case is one line; a failed one contains its findings with their scenarios.
    """
    cases = [(verdict.device.name, cases_of(verdict)) for verdict in verdicts]
    name = cases[0][0] if len(cases) == 1 else f"{len(cases)} devices"
    every = [case for _, own in cases for case in own]
    top = ElementTree.Element("testsuites", _counts(name, every))
    for device, own in cases:
        _add_suites(top, device, own)
    ElementTree.indent(top)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(top, "unicode")}\n'


def _add_suites(top: ElementTree.Element, device: str, cases: Iterable[Case]) -> None:
    by_title: dict[str, list[Case]] = {"requirements": [], "findings": []}
    for case in cases:
        by_title["requirements" if case.kind == REQUIREMENT else "findings"].append(case)
    for title, own in by_title.items():
        if own:
            name = f"{device}.{title}"
            suite = ElementTree.SubElement(top, "testsuite", _counts(name, own))
            for case in own:
                _add_case(suite, case, name)


def _counts(name: str, cases: Sequence[Case]) -> dict[str, str]:
    counted = {"name": _text(name), "tests": str(len(cases))}
    for outcome, plural in ((FAILED, "failures"), (UNDECIDED, "errors"), (SKIPPED, "skipped")):
        counted[plural] = str(sum(case.outcome == outcome for case in cases))
    return counted


def _add_case(suite: ElementTree.Element, case: Case, group: str) -> None:
    names = {"classname": _text(group), "name": _text(f"{case.name}: {case.about}")}
    element = ElementTree.SubElement(suite, "testcase", names)
    if case.outcome not in ELEMENTS:
        return
    about = {"message": _text(case.reason)}
    if case.outcome != SKIPPED:
        about["type"] = case.findings[0].severity if case.findings else "incomplete"
    told = ElementTree.SubElement(element, ELEMENTS[case.outcome], about)
    paragraphs = [finding_in_full(one) for one in case.findings]
    if paragraphs:
        told.text = _text("\n\n".join("\n".join(lines) for lines in paragraphs))


def _text(text: str) -> str:
    return NOT_XML.sub("\ufffd", text)
