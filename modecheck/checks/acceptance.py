"""Findings that the team lives with: set aside until an end date, reported when they are gone."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from modecheck.checks.findings import Finding
from modecheck.model.parts import Acceptance, Device


@dataclass(frozen=True, slots=True)
class AcceptedFinding:
    """A finding that occurs and is lived with."""

    finding: Finding
    reason: str
    until: date | None


LEAD_NOWHERE = ("unspecified-reception", "blocked-reaction", "overflow", "out-of-range")
"""Codes of steps that fail: what the device does after one is not known, accepted or not."""


@dataclass(frozen=True, slots=True)
class SortedFindings:
    """Findings that count, findings that are accepted, and remarks: acceptances that ended, and
    what nobody knows because of an accepted finding.
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
    """Set accepted findings aside. What was not explored to the end, and a variant that was not
    explored, may hide an accepted finding: needless ones are reported only when `complete`. What
    is `falling` occurs, though it is no finding of its own.
    """
    result = SortedFindings([], [], [])
    by_id = {acceptance.finding: acceptance for acceptance in device.accepted}
    for finding in findings:
        acceptance = by_id.get(finding.id)
        if acceptance is None:
            result.findings.append(finding)
        elif acceptance.until is not None and acceptance.until < today:
            result.findings.append(finding)
            result.remarks.append(f"the acceptance of {finding.id} ended on {acceptance.until}")
        else:
            result.accepted.append(AcceptedFinding(finding, acceptance.reason, acceptance.until))
            if finding.code in LEAD_NOWHERE:
                result.remarks.append(f"not explored: what follows the accepted {finding.id}")
    present = {finding.id for finding in findings}.union(falling)
    if complete:
        gone = [one for one in by_id.values() if one.finding not in present]
        result.findings.extend(_needless(acceptance) for acceptance in gone)
    return result


def _needless(acceptance: Acceptance) -> Finding:
    text = f"{acceptance.finding} is accepted and does not occur"
    return Finding("needless-acceptance", acceptance.finding, text, acceptance.place)
