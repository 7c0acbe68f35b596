"""Deadlock: no chip or link can take a step, time changes nothing, and the device is not at rest.

A step that leads back to the state it starts from does not count
(`modecheck.engine.reference.system_actions`).

Deadlocked states in which the same chips wait in the same states have one cause. A cause that
contains all of another one is a consequence of it and is only counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.checks.waiting import waiting_for_room, who_waits_for_whom
from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import State
from modecheck.model.places import Place
from modecheck.product.ir import Product
from modecheck.scenario.traces import Trace, trace_to

AT_A_TIME = 1 << 12
"""States whose fields are read at once."""

Cause = frozenset[tuple[str, str]]
"""Pairs of a chip and its leaf; where all chips rest, of a link and the message at its head."""


@dataclass(slots=True)
class Deadlock:
    """One cause: the shallowest state that has it, and all states that have it or contain it."""

    cause: Cause
    first: int
    states: list[int]


def deadlocks(space: Space) -> list[Deadlock]:
    """Every deadlock, the shallowest first. A deadlock is named by its cause."""
    by_cause: dict[Cause, Deadlock] = {}
    due = space.mark("due") if "due" in space.product.conditions else 0
    found_in = space.quiescent(space.mark("rests") | due)
    while numbers := list(islice(found_in, AT_A_TIME)):
        for number, state in zip(numbers, space.states_at(numbers), strict=True):
            cause = cause_of(space.product, state)
            by_cause.setdefault(cause, Deadlock(cause, number, [])).states.append(number)
    minimal: list[Deadlock] = []
    for found in sorted(by_cause.values(), key=lambda one: (len(one.cause), one.first)):
        beneath = [one for one in minimal if one.cause < found.cause]
        if not beneath:
            minimal.append(found)
        for one in beneath:
            one.states += found.states
            one.first = min(one.first, found.first)
    return sorted(minimal, key=lambda one: one.first)


def cause_of(product: Product, state: State) -> Cause:
    """Which chips wait in a deadlocked state, or which messages are never delivered."""
    waiting = frozenset(
        (chip.name, chip.leaves[state[chip.state_field]])
        for chip in product.chips
        if not chip.actor and not chip.rests[state[chip.state_field]]
    )
    if waiting:
        return waiting
    return frozenset(
        (queue.name, queue.messages[code - 1].name)
        for queue in product.queues
        if (code := state[queue.slots[0].code])
    )


def find(evidence: Evidence) -> Iterator[Finding]:
    """A finding for each deadlock."""
    space = evidence.space
    for deadlock in evidence.of(deadlocks):
        trace = trace_to(space, deadlock.first)
        state = space.state(deadlock.first)
        yield finding_of(space.product, deadlock.cause, state, trace, count=len(deadlock.states))


def finding_of(
    product: Product, cause: Cause, state: State, trace: Trace, *, count: int = 1
) -> Finding:
    """The finding of a cause that `state` has, at the end of `trace`, and `count` states in all."""
    names = [chip.name for chip in product.chips] + [queue.name for queue in product.queues]
    parts = sorted(cause, key=lambda part: names.index(part[0]))
    chips = [n for n, chip in enumerate(product.chips) if chip.name in dict(parts)]
    details = list(who_waits_for_whom(product, state, chips or _kept_from_taking(product, state)))
    if count > 1:
        details.append(f"the same wait occurs in {count:,} states")
    return Finding(
        code="deadlock",
        subject="+".join(f"{name}.{where}" for name, where in parts),
        text=_text(parts, chips_wait=bool(chips)),
        place=_place(product, parts[0]),
        trace=trace,
        details=tuple(details),
    )


def _kept_from_taking(product: Product, state: State) -> list[int]:
    """Where all chips rest: those that would take a message if their own links had room."""
    return [n for n, _ in enumerate(product.chips) if waiting_for_room(product, state, n)]


def _text(parts: list[tuple[str, str]], *, chips_wait: bool) -> str:
    if chips_wait:
        waiting = " and ".join(f"{name} in {where}" for name, where in parts)
        return f"{waiting} {'wait' if len(parts) > 1 else 'waits'} forever"
    stuck = " and ".join(f"{message} in {name}" for name, message in parts)
    return f"{stuck} {'are' if len(parts) > 1 else 'is'} never delivered"


def _place(product: Product, part: tuple[str, str]) -> Place:
    name, where = part
    if name in product.device.chips:
        return product.device.chips[name].states[where].place
    return product.device.links[name].place


CHECK = Check("deadlock", Needs.DEADLOCKS, find, doing="looking for deadlocks")
