"""Which findings of a complete check a random run can show."""

from __future__ import annotations

from pathlib import Path

from modecheck.checks.findings import Finding
from tests.models.bundled import verdict_on

DECIDED = {
    "deadlock",
    "time-stop",
    "unspecified-reception",
    "overflow",
    "out-of-range",
    "lost-bond",
    "one-sided-bond",
    "usurped-session",
    "two-modes",
    "broken-requirement",
}


def shown_by_finite_runs(path: Path) -> dict[str, Finding]:
    """The findings of a complete check that a finite run can show."""
    verdict = verdict_on(path)
    needs = verdict.device.requirements
    return {
        one.id: one
        for one in verdict.findings
        if one.code in DECIDED
        and one.trace is not None
        and not one.trace.loop_from
        and not (one.code == "broken-requirement" and needs[one.subject].pattern == "recoverable")
    }
