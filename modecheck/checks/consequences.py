"""Requirements that fall with another: one that builds on a broken one is not reported by itself.

An error in one place also breaks what is built on it. The model declares such dependences, and only
the cause is reported. What a requirement builds on must be broken in the same variant, and be
reported: an accepted break excuses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace

from modecheck.checks.judged import BROKEN, FALLS, Judged
from modecheck.model.parts import Device
from modecheck.model.wording import listed


def with_consequences(device: Device, judged: Sequence[Judged]) -> list[Judged]:
    """The verdicts on one variant, with those that fall with others marked."""
    causes = fallen(device, {one.need.name for one in judged if one.verdict == BROKEN})
    found = []
    for one in judged:
        first = causes.get(one.need.name)
        if first:
            verb = "is" if len(first) == 1 else "are"
            remark = f"builds on {listed(first)}, which {verb} broken"
            found.append(replace(one, verdict=FALLS, remark=remark))
        else:
            found.append(one)
    return found


def fallen(device: Device, broken: AbstractSet[str]) -> dict[str, list[str]]:
    """The broken requirements that fall with others, each with its first causes."""
    accepted = {acceptance.finding for acceptance in device.accepted}
    causes = {name for name in broken if f"broken-requirement:{name}" not in accepted}
    found = {}
    for name in broken:
        below = [one for one in _foundations(device, name) if one in causes]
        # What builds on another cause is itself a consequence: only first causes are reported.
        first = [one for one in below if not causes.intersection(_foundations(device, one))]
        if first:
            found[name] = first
    return found


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
