"""Steps that must not happen: unspecified receptions, blocked reactions, overflows, values out of
range.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.findings import Finding
from modecheck.engine.space import Space
from modecheck.scenario.traces import trace_to_failure


def find(space: Space) -> Iterator[Finding]:
    """A finding for each subject; it also lists further places with the same subject."""
    for sighting in space.failures.values():
        failure = sighting.failure
        yield Finding(
            code=failure.code,
            subject=failure.subject,
            text=failure.text,
            place=failure.place,
            trace=trace_to_failure(space, sighting),
            also=tuple(dict.fromkeys(other.place for other in sighting.others)),
        )
