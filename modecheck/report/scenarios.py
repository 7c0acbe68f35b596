"""The scenario of a finding, in the variant in which it was found."""

from __future__ import annotations

from modecheck.checks.findings import Finding
from modecheck.checks.verdict import Explored, Verdict
from modecheck.scenario.telling import ToldStep, tell


def scenario_of(verdict: Verdict, finding: Finding) -> list[ToldStep]:
    """The steps of a finding's scenario; none when it has no scenario."""
    if finding.trace is None:
        return []
    return tell(origin_of(verdict, finding).exploration.product, finding.trace)


def origin_of(verdict: Verdict, finding: Finding) -> Explored:
    """The variant that the scenario belongs to."""
    if not finding.variants:
        candidates = [
            one for one in verdict.explored if any(f.trace is finding.trace for f in one.findings)
        ]
        return candidates[0] if candidates else verdict.explored[0]
    return next(one for one in verdict.explored if one.variant == finding.variants[0])
