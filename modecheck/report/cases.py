"""A verdict as cases that pass or fail, for readers of test results: one for each requirement, and
one for each class of findings. Broken requirements are cases of their own, not a class.

A case fails if and only if the exit code is 1; if it is 3, no case fails and at least one is
undecided. A case never passes unless its outcome is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.checks.acceptance import AcceptedFinding
from modecheck.checks.declared import Needs
from modecheck.checks.every_check import BY_CODE
from modecheck.checks.explored import Verdict, is_every_variant
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, FALLS, HOLDS, VACUOUS, Judged
from modecheck.model.finding_kinds import KINDS
from modecheck.model.wording import listed

PASSED, FAILED, UNDECIDED, SKIPPED = "passed", "failed", "undecided", "skipped"
"""Skipped: accepted, broken with a requirement that it builds on, or never exercised."""

REQUIREMENT, CLASS = "requirement", "findings"


@dataclass(frozen=True, slots=True)
class Case:
    """`about` is the sentence of a requirement, or what a class of findings means; `reason` is
    why the case did not pass. `findings` are those that made it fail.
    """

    kind: str
    name: str
    about: str
    outcome: str
    reason: str = ""
    findings: tuple[Finding, ...] = ()


def cases_of(verdict: Verdict) -> tuple[Case, ...]:
    """Requirements in the order of the file, then classes in the order of `KINDS`."""
    needs = [_requirement(verdict, judged) for judged in verdict.requirements]
    return (*needs, *(_class(verdict, code) for code in class_names()))


def class_names() -> tuple[str, ...]:
    """The codes of findings that have a case of their own."""
    return tuple(code for code in KINDS if code != "broken-requirement")


def _requirement(verdict: Verdict, judged: Judged) -> Case:
    need = judged.need
    outcome, reason, findings = _judged(verdict, judged)
    return Case(REQUIREMENT, need.name, need.sentence, outcome, reason, findings)


def _judged(verdict: Verdict, judged: Judged) -> tuple[str, str, tuple[Finding, ...]]:
    name = judged.need.name
    broken = tuple(f for f in verdict.findings if f.id == f"broken-requirement:{name}")
    if broken:
        return FAILED, broken[0].text, broken
    if judged.verdict == BROKEN:
        known = [one for one in verdict.accepted if one.finding.subject == name]
        return SKIPPED, "; ".join(map(_accepted, known)) or "it is accepted", ()
    if judged.verdict == FALLS:
        return SKIPPED, f"it builds on {listed(judged.need.builds_on)}, which is broken", ()
    if judged.verdict == VACUOUS:
        return SKIPPED, "it holds, but no run ever exercises it", ()
    if judged.verdict == HOLDS and not verdict.interrupted:
        return PASSED, "", ()
    return UNDECIDED, judged.remark or "not everything was explored", ()


def _class(verdict: Verdict, code: str) -> Case:
    found = tuple(finding for finding in verdict.findings if finding.code == code)
    outcome, reason = (FAILED, found[0].text) if found else _without_findings(verdict, code)
    return Case(CLASS, code, KINDS[code].meaning, outcome, reason, found)


def _without_findings(verdict: Verdict, code: str) -> tuple[str, str]:
    check = BY_CODE[code]
    # What is found in the text alone is known however much was explored.
    unknown = "" if check.needs is Needs.TEXT else _unknown(verdict, code)
    if unknown:
        return UNDECIDED, unknown
    known = [one for one in verdict.accepted if one.finding.code == code]
    if known:
        return SKIPPED, "; ".join(map(_accepted, known))
    if check.every_variant and not is_every_variant(verdict.explored):
        return SKIPPED, "it is only checked on all combinations of options together"
    return PASSED, ""


def _unknown(verdict: Verdict, code: str) -> str:
    """Why it is unknown whether there are findings of a class; empty if it is known."""
    return next(_reasons(verdict, code), "")


def _reasons(verdict: Verdict, code: str) -> Iterator[str]:
    for one in verdict.explored:
        if not one.exploration.complete:
            yield f"incomplete: stopped by {one.exploration.stopped_by}"
        if code in one.reduced.not_asked:
            yield f"not checked {one.reduced.why_not_asked}"


def _accepted(one: AcceptedFinding) -> str:
    until = f" (until {one.until})" if one.until else ""
    return f"{one.finding.id} is accepted: {one.reason}{until}"
