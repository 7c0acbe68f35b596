"""Stuck chip: outside its rest states, and on no road does it ever move again.

A chip that is stuck only where it will end in a deadlock that is reported anyway, waiting in the
same state, is not reported twice.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.deadlocks import Deadlock
from modecheck.checks.findings import Finding
from modecheck.checks.roads import Roads
from modecheck.checks.waiting import what_it_waits_for
from modecheck.checks.ways import way_to
from modecheck.engine.exploration import Exploration


def find(exploration: Exploration, roads: Roads, known: list[Deadlock]) -> Iterator[Finding]:
    """One finding for each chip and state in which it gets stuck."""
    for (chip, leaf), states in _stuck(exploration, roads).items():
        form = exploration.product.chips[chip]
        name, where = form.name, form.leaves[leaf]
        explained = [one for one in known if (name, where) in one.cause]
        unexplained = _unexplained(roads, states, explained)
        if not unexplained:
            continue
        first = unexplained[0]
        yield Finding(
            code="stuck-chip",
            subject=f"{name}.{where}",
            text=f"{name} stays in {where} for ever, while others may go on",
            place=exploration.product.device.chips[name].states[where].place,
            way=way_to(exploration, first),
            details=what_it_waits_for(exploration.product, exploration.state(first), chip),
        )


def _stuck(exploration: Exploration, roads: Roads) -> dict[tuple[int, int], list[int]]:
    """The states in which a chip is stuck, by chip and leaf."""
    chips = exploration.product.chips
    workers = sum(1 << number for number, chip in enumerate(chips) if not chip.actor)
    stuck: dict[tuple[int, int], list[int]] = {}
    for number, movable in enumerate(roads.movable()):
        if not workers & ~movable:
            continue
        state = exploration.state(number)
        for chip, form in enumerate(chips):
            leaf = state[form.state_field]
            if not form.actor and not movable >> chip & 1 and not form.rests[leaf]:
                stuck.setdefault((chip, leaf), []).append(number)
    return stuck


def _unexplained(roads: Roads, states: list[int], explained: list[Deadlock]) -> list[int]:
    if not explained:
        return states
    ends = [number for deadlock in explained for number in deadlock.states]
    leads = roads.leading_to(ends)
    return [number for number in states if not leads[number]]
