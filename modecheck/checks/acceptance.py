"""Accepted findings: set aside until an end date, and reported when they no longer occur."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from modecheck.checks.declared import Check, Needs
from modecheck.checks.failing_steps import CODES
from modecheck.checks.findings import Finding
from modecheck.model.claims import Acceptance
from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class AcceptedFinding:
    """A finding that occurs and is accepted."""

    finding: Finding
    reason: str
    until: date | None


@dataclass(frozen=True, slots=True)
class SortedFindings:
    """Findings that count, findings that are accepted, and remarks: acceptances that expired, and
    what was not explored because of an accepted finding.
    """

    findings: list[Finding]
    accepted: list[AcceptedFinding]
    remarks: list[str]


def sort_out(
    device: Device,
    findings: list[Finding],
    *,
    today: date,
    complete: bool,
    falling: Collection[str] = (),
) -> SortedFindings:
    """Set accepted findings aside. An incomplete exploration, or a variant that was not explored,
    may hide an accepted finding: needless acceptances are reported only when `complete`. The ids
    in `falling` occur, though they are not findings of their own.
    """
    result = SortedFindings([], [], [])
    by_id = {acceptance.finding: acceptance for acceptance in device.accepted}
    for finding in findings:
        acceptance = by_id.get(finding.id)
        if acceptance is None:
            result.findings.append(finding)
        elif acceptance.until is not None and acceptance.until < today:
            result.findings.append(finding)
            result.remarks.append(f"the acceptance of {finding.id} expired on {acceptance.until}")
        else:
            result.accepted.append(AcceptedFinding(finding, acceptance.reason, acceptance.until))
            if finding.code in CODES:
                result.remarks.append(f"not explored: what comes after the accepted {finding.id}")
    present = {finding.id for finding in findings}.union(falling)
    if complete:
        gone = [one for one in by_id.values() if one.finding not in present]
        result.findings.extend(_needless(acceptance) for acceptance in gone)
    return result


def _needless(acceptance: Acceptance) -> Finding:
    text = f"{acceptance.finding} is accepted but does not occur"
    return Finding("needless-acceptance", acceptance.finding, text, acceptance.place)


CHECK = Check("needless-acceptance", Needs.LOOPS, every_variant=True)
"""Any kind of finding may be accepted, so this needs what all of them need."""
