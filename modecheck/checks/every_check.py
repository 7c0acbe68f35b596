"""Every check, in the order in which they are made."""

from __future__ import annotations

from collections.abc import Collection

from modecheck.checks import (
    acceptance,
    dead_letters,
    deadlocks,
    failing_steps,
    judged,
    livelock,
    mode_switches,
    never_seen,
    pairings,
    stuck_chips,
    switch_endings,
    time_stops,
    zeno,
)
from modecheck.checks.declared import Check, Needs
from modecheck.model.finding_kinds import KINDS

CHECKS: tuple[Check, ...] = (
    deadlocks.CHECK,
    stuck_chips.CHECK,
    time_stops.CHECK,
    zeno.CHECK,
    livelock.CHECK,
    *failing_steps.CHECKS,
    *pairings.CHECKS,
    *mode_switches.CHECKS,
    switch_endings.CHECK,
    *judged.CHECKS,
    *never_seen.CHECKS,
    dead_letters.CHECK,
    acceptance.CHECK,
)
BY_CODE = {check.code: check for check in CHECKS}


def not_asked(preserved: Collection[Needs], given_up: Collection[str] = ()) -> tuple[str, ...]:
    """The kinds of findings that are not, or not all, looked for where only this is preserved and
    the checks of some kinds gave up: then nor is the one that needs what all others need.
    """
    open_ = {*given_up, *([acceptance.CHECK.code] if given_up else [])}
    return tuple(code for code in KINDS if BY_CODE[code].needs not in preserved or code in open_)
