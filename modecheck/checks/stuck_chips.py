"""Stuck chip: outside its rest states, and never leaving its state again on any path.

A chip that is stuck only on paths to a deadlock that is reported anyway, in which it waits in the
same state, is not reported twice.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.deadlocks import Deadlock, deadlocks
from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.checks.waiting import who_waits_for_whom
from modecheck.engine.contract.space import Space
from modecheck.scenario.traces import trace_to


def find(evidence: Evidence) -> Iterator[Finding]:
    """One finding for each chip and state in which it gets stuck."""
    space, known = evidence.space, evidence.of(deadlocks)
    for (chip, leaf), states in _stuck(space).items():
        form = space.product.chips[chip]
        name, where = form.name, form.leaves[leaf]
        explained = [one for one in known if (name, where) in one.cause]
        unexplained = _unexplained(space, states, explained)
        if not unexplained:
            continue
        first = unexplained[0]
        yield Finding(
            code="stuck-chip",
            subject=f"{name}.{where}",
            text=f"{name} stays in {where} forever, while other chips may go on",
            place=space.product.device.chips[name].states[where].place,
            trace=trace_to(space, first),
            details=tuple(who_waits_for_whom(space.product, space.state(first), [chip])),
        )


def _stuck(space: Space) -> dict[tuple[int, int], list[int]]:
    """The states in which a chip is stuck, by chip and leaf."""
    chips = space.product.chips
    workers = sum(1 << number for number, chip in enumerate(chips) if not chip.actor)
    stuck: dict[tuple[int, int], list[int]] = {}
    for number, unmoving in space.stuck(workers):
        state = space.state(number)
        for chip, form in enumerate(chips):
            leaf = state[form.state_field]
            if unmoving >> chip & 1 and not form.rests[leaf]:
                stuck.setdefault((chip, leaf), []).append(number)
    return stuck


def _unexplained(space: Space, states: list[int], explained: list[Deadlock]) -> list[int]:
    if not explained:
        return states
    ends = [number for deadlock in explained for number in deadlock.states]
    leads = space.can_reach_states(ends)
    return [number for number in states if not leads[number]]


CHECK = Check("stuck-chip", Needs.PATHS, find, doing="looking for stuck chips")
