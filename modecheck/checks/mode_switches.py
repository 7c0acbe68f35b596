"""Modes: never two at once, each reachable, and every switch from one to another.

A switch from mode A to mode B leaves A, passes only through states that are in no mode, and enters
B. Where there is no such direct switch, a path through other modes is reported.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import BfsRegion, ReachGoal, Space, first_zero
from modecheck.model.parts import Device
from modecheck.scenario.traces import Trace, trace_along, trace_to


@dataclass(frozen=True, slots=True)
class ModeSwitch:
    """An ordered pair of modes. `steps` is the fewest from a state of the first into the second;
    `via` names the modes passed in between, when there is no direct switch.
    """

    source: str
    target: str
    possible: bool
    direct: bool
    steps: int | None
    via: tuple[str, ...]
    trace: Trace | None


@dataclass(frozen=True, slots=True)
class ModeBits:
    """The bits of the modes in a space's marks."""

    by_name: dict[str, int]

    @property
    def any(self) -> int:
        """The bits of all modes."""
        return sum(self.by_name.values())

    def names(self, marks: int) -> list[str]:
        """The modes whose bits are set in some marks."""
        return [name for name, bit in self.by_name.items() if marks & bit]


def mode_bits(space: Space) -> ModeBits:
    """The bits of all modes of a space's device."""
    modes = space.product.device.modes
    return ModeBits({name: space.mark(f"mode:{name}") for name in modes})


def states_in_modes(space: Space) -> dict[str, int]:
    """How many states each mode has."""
    bits = mode_bits(space)
    counts = dict.fromkeys(bits.by_name, 0)
    for marks, occurrence in space.combinations().items():
        for name in bits.names(marks):
            counts[name] += occurrence.count
    return counts


def mode_switches(space: Space) -> list[ModeSwitch]:
    """Every ordered pair of different modes, in the order of the device file."""
    bits = mode_bits(space)
    if len(bits.by_name) < 2:
        return []
    regions = space.bfs_from_each(list(bits.by_name.values()), blocked=bits.any)
    return [
        switch
        for source, direct in zip(bits.by_name, regions, strict=True)
        for switch in _switches_from(space, bits, source, direct)
    ]


def _switches_from(
    space: Space, bits: ModeBits, source: str, direct: BfsRegion
) -> Iterator[ModeSwitch]:
    own = bits.by_name[source]
    anywhere: BfsRegion | None = None
    for target, bit in bits.by_name.items():
        if target == source:
            continue
        found = direct.first(bit, own)
        if found is not None:
            start, path = direct.path_to(found)
            trace = trace_along(space, start, path)
            yield ModeSwitch(source, target, True, True, len(path), (), trace)
            continue
        anywhere = anywhere or space.bfs(own, blocked=0)
        yield _indirect(space, bits, source, target, anywhere)


def _indirect(
    space: Space, bits: ModeBits, source: str, target: str, anywhere: BfsRegion
) -> ModeSwitch:
    found = anywhere.first(bits.by_name[target], 0)
    if found is None:
        return ModeSwitch(source, target, False, False, None, (), None)
    start, path = anywhere.path_to(found)
    passed = {name: None for _, n in path for name in bits.names(space.marks_at(n))}
    via = tuple(name for name in passed if name not in (source, target))
    trace = trace_along(space, start, path)
    return ModeSwitch(source, target, True, False, len(path), via, trace)


def _two_at_once(evidence: Evidence) -> Iterator[Finding]:
    """Sets of modes that hold together in some state, each once, with the shallowest such state."""
    space = evidence.space
    bits = mode_bits(space)
    first: dict[tuple[str, ...], int] = {}
    for marks, occurrence in space.combinations().items():
        names = tuple(bits.names(marks))
        if len(names) > 1:
            first[names] = min(first.get(names, occurrence.first), occurrence.first)
    for names, number in first.items():
        yield two_modes_finding(space.product.device, names, trace_to(space, number))


def two_modes_finding(device: Device, names: tuple[str, ...], trace: Trace) -> Finding:
    """The finding that the device is in these modes at once at the end of a trace."""
    return Finding(
        code="two-modes",
        subject="+".join(names),
        text=f"the device is in {' and '.join(names)} at once",
        place=device.modes[names[1]].place,
        trace=trace,
    )


def _never_reached(evidence: Evidence) -> Iterator[Finding]:
    """Modes that no state of a complete space is in."""
    if not evidence.space.complete:
        return
    for mode in evidence.space.product.device.modes.values():
        if not evidence.of(states_in_modes)[mode.name]:
            text = f"no reachable state satisfies {mode.text}"
            yield Finding("mode-never-reached", mode.name, text, mode.place)


def _missing(evidence: Evidence) -> Iterator[Finding]:
    """Pairs of modes that a complete space reaches, without a path from one to the other."""
    if not evidence.space.complete:
        return
    reached = evidence.of(states_in_modes)
    for switch in evidence.of(mode_switches):
        if not switch.possible and reached[switch.source] and reached[switch.target]:
            mode = evidence.space.product.device.modes[switch.source]
            text = f"no path leads from {switch.source} to {switch.target}"
            subject = f"{switch.source}->{switch.target}"
            yield Finding("no-mode-switch", subject, text, mode.place)


def _unending(evidence: Evidence) -> Iterator[Finding]:
    """After leaving a mode, a state from which no path leads to any mode."""
    space = evidence.space
    bits = mode_bits(space)
    if not any(marks & bits.any for marks in space.combinations()):
        return
    arrives = space.can_reach(ReachGoal(bits.any))
    if first_zero(arrives) is None:
        return
    for name, bit in bits.by_name.items():
        between = space.spread_from_initial(bit, blocked=bits.any)
        lost = between.first_zero(arrives)
        if lost is not None:
            yield _unending_finding(space, name, between, lost)


def _arrivals(space: Space) -> Iterator[ReachGoal]:
    bits = mode_bits(space)
    if bits.any:
        yield ReachGoal(bits.any)


def _unending_finding(space: Space, name: str, between: BfsRegion, lost: int) -> Finding:
    """Its scenario is the shortest of those that pass through the mode."""
    start, path = between.path_to(lost)
    return Finding(
        code="unending-switch",
        subject=name,
        text=f"a switch out of {name} can end up where no mode is reachable",
        place=space.product.device.modes[name].place,
        trace=trace_along(space, start, path),
    )


_DOING = "checking mode switches"
CHECKS = (
    Check("two-modes", Needs.STATES, _two_at_once, doing=_DOING),
    Check("unending-switch", Needs.PATHS, _unending, doing=_DOING, goals=_arrivals),
    Check("mode-never-reached", Needs.STATES, _never_reached, doing=_DOING),
    Check("no-mode-switch", Needs.PATHS, _missing, doing=_DOING),
)
