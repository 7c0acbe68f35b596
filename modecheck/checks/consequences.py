"""Requirements that fall with another: one that builds on a broken one is no finding of its own.

A mistake in one place breaks what is built on it, too. The team says so in the model, and is told
the cause alone. What a requirement builds on must be broken in the same variant, and be reported:
a break that the team accepts excuses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from modecheck.checks.judged import BROKEN, FALLS, Judged
from modecheck.checks.wording import listed
from modecheck.model.parts import Device


def with_consequences(device: Device, judged: Sequence[Judged]) -> list[Judged]:
    """The verdicts on one variant, those that fall with others marked."""
    accepted = {acceptance.finding for acceptance in device.accepted}
    causes = {
        one.need.name
        for one in judged
        if one.finding is not None and one.finding.id not in accepted
    }
    return [_judged(device, one, causes) for one in judged]


def _judged(device: Device, one: Judged, causes: set[str]) -> Judged:
    if one.verdict != BROKEN:
        return one
    found = [name for name in _foundations(device, one.need.name) if name in causes]
    # What stands on another cause is a consequence itself: the first causes are told.
    first = [name for name in found if not causes.intersection(_foundations(device, name))]
    if not first:
        return one
    verb = "is" if len(first) == 1 else "are"
    return replace(one, verdict=FALLS, remark=f"builds on {listed(first)}, which {verb} broken")


def _foundations(device: Device, name: str) -> list[str]:
    """All that a requirement builds on, also through others, nearest first."""
    found: dict[str, None] = {}
    waiting = [name]
    for one in waiting:
        for other in device.requirements[one].builds_on:
            if other not in found:
                found[other] = None
                waiting.append(other)
    return list(found)
