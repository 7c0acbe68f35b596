"""Steps that must not happen: unspecified receptions, blocked reactions, overflows, values out of
range.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.scenario.traces import trace_to_failure

CODES = ("unspecified-reception", "blocked-reaction", "overflow", "out-of-range")
"""What the device does after such a step is unknown."""


def _find(code: str, evidence: Evidence) -> Iterator[Finding]:
    """A finding for each subject; it also lists further places with the same subject."""
    for sighting in evidence.space.failures.values():
        failure = sighting.failure
        if failure.code == code:
            yield Finding(
                code=code,
                subject=failure.subject,
                text=failure.text,
                place=failure.place,
                trace=trace_to_failure(evidence.space, sighting),
                also=tuple(dict.fromkeys(other.place for other in sighting.others)),
            )


CHECKS = tuple(
    Check(code, Needs.STATES, partial(_find, code), doing="looking for failing steps")
    for code in CODES
)
