"""How a switch that has begun ends: whether always, after how many steps, and what is lost.

A switch begins when the device leaves a mode and ends when it enters one, or when every chip rests.
Only steps of chips and links that change something count: people may plug and unplug forever, and a
switch in which nothing changes any more is a deadlock.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.checks.mode_switches import mode_bits
from modecheck.engine.contract.space import FairLoop, LoopQuery, Space
from modecheck.product.composition import DROPPED
from modecheck.scenario.traces import Trace, lasso, trace_over


@dataclass(frozen=True, slots=True)
class SwitchEnding:
    """What becomes of switches out of a mode. `at_most` is None where chips can loop, even if
    fairness ends every loop; `loss` is a scenario in which a message in flight is dropped.
    """

    mode: str
    at_most: int | None
    loss: Trace | None


def switch_endings(space: Space) -> list[SwitchEnding]:
    """One for each mode of a device that has several."""
    modes = space.product.device.modes
    if len(modes) < 2:
        return []
    return [_ending(space, name) for name in modes]


def _ending(space: Space, mode: str) -> SwitchEnding:
    bits = mode_bits(space)
    own, every = bits.by_name[mode], bits.any
    dropped = space.product.event_bits((DROPPED,))
    found = space.first_between(own, blocked=every, events=dropped)
    return SwitchEnding(
        mode=mode,
        at_most=space.longest(own, blocked=every),
        loss=None if found is None else trace_over(space, *found),
    )


def find(evidence: Evidence) -> Iterator[Finding]:
    """A fair loop after leaving a mode, outside all modes, in which some chip keeps working."""
    space = evidence.space
    bits = mode_bits(space)
    if len(bits.by_name) < 2:
        return
    unwanted = bits.any | space.mark("settled")
    query = LoopQuery(unwanted=unwanted, system_only=True, only_changes=True, past_failures=True)
    for mode, bit in bits.by_name.items():
        if space.longest(bit, blocked=bits.any) is not None:
            continue  # without any cycle there is no fair one
        found = space.fair_loop(replace(query, after=bit)).loop
        if found is not None:
            between = space.spread_from_initial(bit, blocked=unwanted)
            start, path = between.path_to(found.loop[-1][1])
            behind = FairLoop(space.path_to(start) + path, found.loop)
            yield Finding(
                code="endless-switch",
                subject=mode,
                text=f"a switch out of {mode} can go on forever",
                place=space.product.device.modes[mode].place,
                trace=lasso(space, behind),
            )


CHECK = Check("endless-switch", Needs.LOOPS, find, doing="checking mode switches")
