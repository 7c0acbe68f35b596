"""The verdict as JUnit XML, which CI servers show as tests.

The format has no published standard. This is the part on which its common readers agree:
`testsuites`, `testsuite`, `testcase`, and in a case that did not pass one of `failure`, `error`
and `skipped`.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

from modecheck.checks.explored import Verdict
from modecheck.report.cases import FAILED, REQUIREMENT, SKIPPED, UNDECIDED, Case, cases_of
from modecheck.report.terminal import finding_in_full

ELEMENTS = {FAILED: "failure", UNDECIDED: "error", SKIPPED: "skipped"}
NOT_XML = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters outside `Char` in XML 1.0 (W3C), which must not be written even as a reference."""


def junit_text(verdict: Verdict) -> str:
    """One suite for the requirements and one for the classes of findings.

    A passed case is one line; a failed one contains its findings with their scenarios.
    """
    device = verdict.device
    cases = cases_of(verdict)
    top = ElementTree.Element("testsuites", _counts(device.name, cases))
    for title in ("requirements", "findings"):
        own = [case for case in cases if (case.kind == REQUIREMENT) == (title == "requirements")]
        if own:
            suite = ElementTree.SubElement(top, "testsuite", _counts(f"{device.name}.{title}", own))
            for case in own:
                _add_case(suite, case, f"{device.name}.{title}")
    ElementTree.indent(top)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(top, "unicode")}\n'


def _counts(name: str, cases: tuple[Case, ...] | list[Case]) -> dict[str, str]:
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
