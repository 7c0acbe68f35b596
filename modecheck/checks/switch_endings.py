"""How a switch that has begun ends: always, after how many steps, and with everything delivered.

A switch begins when the device leaves a mode and ends when it enters one, or when every chip rests.
Only steps of chips and links count: people may plug and unplug for ever.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.checks.findings import Finding
from modecheck.checks.mode_switches import mode_bits
from modecheck.checks.ways import Way, way_over, way_round
from modecheck.engine.space import INITIAL, FairLoop, LoopQuery, Space
from modecheck.product.composition import DROPPED


@dataclass(frozen=True, slots=True)
class SwitchEnding:
    """What becomes of switches out of a mode. `at_most` is None where chips can go round, however
    fairly they leave in the end; `loss` is a scenario in which something under way is dropped.
    """

    mode: str
    at_most: int | None
    loss: Way | None


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
        loss=None if found is None else way_over(space, *found),
    )


def find(space: Space) -> Iterator[Finding]:
    """A fair loop outside of all modes in which some chip works on."""
    if len(space.product.device.modes) < 2:
        return
    unwanted = mode_bits(space).any | space.mark("settled")
    loop = space.fair_loop(LoopQuery(unwanted=unwanted, drives_only=True)).loop
    mode = None if loop is None else _mode_left(space, loop)
    if loop is not None and mode is not None:
        yield Finding(
            code="endless-switch",
            subject=mode,
            text=f"a switch out of {mode} can go on for ever",
            place=space.product.device.modes[mode].place,
            way=way_round(space, loop),
        )


def _mode_left(space: Space, loop: FairLoop) -> str | None:
    """The last mode on the way to the loop; None before the device has been in any."""
    bits = mode_bits(space)
    for number in (*(number for _, number in reversed(loop.stem)), INITIAL):
        names = bits.names(space.marks_at(number))
        if names:
            return names[0]
    return None
