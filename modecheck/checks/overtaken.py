"""Findings whose scenario needs a timer to overtake a shorter one: they say so."""

from __future__ import annotations

from dataclasses import replace

from modecheck.checks.findings import Finding
from modecheck.scenario.overtaking import overtaking_in, overtaking_in_words


def with_overtaking(finding: Finding) -> Finding:
    """The finding, with a detail if time that is counted would rule its scenario out."""
    found = overtaking_in(finding.trace) if finding.trace is not None else None
    if found is None or finding.trace is None:
        return finding
    told = overtaking_in_words(found, finding.trace.product)
    return replace(finding, details=(*finding.details, told))
