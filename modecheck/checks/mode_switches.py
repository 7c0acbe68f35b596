"""Modes: never two at once, each reached, and every switch from one to another.

A switch from mode A to mode B leaves A, passes only through states that are in no mode, and enters
B. Where there is no such direct switch, the road through other modes is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.checks.findings import Finding
from modecheck.checks.roads import Roads
from modecheck.checks.ways import Spread, Way, spread, spread_from_initial, way_along, way_to
from modecheck.engine.exploration import Exploration
from modecheck.model.parts import Mode


@dataclass(frozen=True, slots=True)
class ModeSwitch:
    """An ordered pair of modes. `steps` is the fewest from a state of the first into the second;
    `via` names the modes passed on the way, when there is no direct switch.
    """

    source: str
    target: str
    possible: bool
    direct: bool
    steps: int | None
    via: tuple[str, ...]
    way: Way | None


@dataclass(frozen=True, slots=True)
class _Bits:
    """The bits of the modes in an exploration's marks."""

    by_name: dict[str, int]

    @property
    def any(self) -> int:
        return sum(self.by_name.values())

    def names(self, marks: int) -> list[str]:
        return [name for name, bit in self.by_name.items() if marks & bit]


def _bits(exploration: Exploration) -> _Bits:
    modes = exploration.product.device.modes
    return _Bits({name: exploration.mark(f"mode:{name}") for name in modes})


def states_in_modes(exploration: Exploration) -> dict[str, int]:
    """How many states each mode has."""
    bits = _bits(exploration)
    counts = dict.fromkeys(bits.by_name, 0)
    for marks in exploration.marks:
        for name in bits.names(marks):
            counts[name] += 1
    return counts


def mode_switches(exploration: Exploration) -> list[ModeSwitch]:
    """Every ordered pair of different modes, in the order of the device file."""
    bits = _bits(exploration)
    return [
        switch for source in bits.by_name for switch in _switches_from(exploration, bits, source)
    ]


def _switches_from(exploration: Exploration, bits: _Bits, source: str) -> Iterator[ModeSwitch]:
    marks, own = exploration.marks, bits.by_name[source]
    starts = [number for number, mark in enumerate(marks) if mark & own]
    direct = _between_modes(exploration, bits, starts)
    anywhere: Spread | None = None
    for target, bit in bits.by_name.items():
        if target == source:
            continue
        found = _entry(exploration, direct, bit, own)
        if found is None:
            anywhere = anywhere or spread(exploration, starts, lambda _: True)
            found = next((n for n in anywhere.order if marks[n] & bit), None)
            yield _indirect(exploration, bits, source, target, anywhere, found)
        else:
            start, path = direct.path_to(found)
            way = way_along(exploration, start, path)
            yield ModeSwitch(source, target, True, True, len(path), (), way)


def _between_modes(exploration: Exploration, bits: _Bits, starts: list[int]) -> Spread:
    """All that can be reached from a mode without passing through another one.

    States of other modes are entered, and not passed on from.
    """
    marks, any_mode = exploration.marks, bits.any
    inside = spread(exploration, starts, lambda number: not marks[number] & any_mode)
    for number in list(inside.order):
        for edge in exploration.edges(number):
            target = exploration.targets[edge]
            if target not in inside.came_by:
                inside.came_by[target] = (edge, number)
                inside.order.append(target)
    return inside


def _entry(exploration: Exploration, direct: Spread, bit: int, own: int) -> int | None:
    marks = exploration.marks
    entered = (n for n in direct.order if marks[n] & bit and not marks[n] & own)
    return next(entered, None)


def _indirect(
    exploration: Exploration,
    bits: _Bits,
    source: str,
    target: str,
    anywhere: Spread,
    found: int | None,
) -> ModeSwitch:
    if found is None:
        return ModeSwitch(source, target, False, False, None, (), None)
    start, path = anywhere.path_to(found)
    passed = {name: None for _, n in path for name in bits.names(exploration.marks[n])}
    via = tuple(name for name in passed if name not in (source, target))
    way = way_along(exploration, start, path)
    return ModeSwitch(source, target, True, False, len(path), via, way)


def find(exploration: Exploration, roads: Roads, switches: list[ModeSwitch]) -> Iterator[Finding]:
    """Findings about modes. What needs all states is left out of an incomplete exploration."""
    yield from _two_at_once(exploration)
    yield from _unending(exploration, roads)
    if exploration.complete:
        reached = states_in_modes(exploration)
        yield from _never_reached(exploration, reached)
        yield from _missing(exploration, reached, switches)


def _two_at_once(exploration: Exploration) -> Iterator[Finding]:
    bits = _bits(exploration)
    seen: set[tuple[str, ...]] = set()
    for number, marks in enumerate(exploration.marks):
        names = tuple(bits.names(marks))
        if len(names) > 1 and names not in seen:
            seen.add(names)
            mode = exploration.product.device.modes[names[1]]
            yield Finding(
                code="two-modes",
                subject="+".join(names),
                text=f"the device is in {' and '.join(names)} at once",
                place=mode.place,
                way=way_to(exploration, number),
            )


def _never_reached(exploration: Exploration, reached: dict[str, int]) -> Iterator[Finding]:
    for mode in exploration.product.device.modes.values():
        if not reached[mode.name]:
            text = f"in no reachable state is {mode.text}"
            yield Finding("mode-never-reached", mode.name, text, mode.place)


def _missing(
    exploration: Exploration, reached: dict[str, int], switches: list[ModeSwitch]
) -> Iterator[Finding]:
    for switch in switches:
        if not switch.possible and reached[switch.source] and reached[switch.target]:
            mode: Mode = exploration.product.device.modes[switch.source]
            text = f"no road leads from {switch.source} to {switch.target}"
            subject = f"{switch.source}->{switch.target}"
            yield Finding("no-mode-switch", subject, text, mode.place)


def _unending(exploration: Exploration, roads: Roads) -> Iterator[Finding]:
    """After leaving a mode, a state from which no road leads to any mode."""
    bits, marks = _bits(exploration), exploration.marks
    in_modes = [number for number, mark in enumerate(marks) if mark & bits.any]
    if not in_modes:
        return
    arrives = roads.leading_to(in_modes)
    for name, bit in bits.by_name.items():
        starts = [number for number in in_modes if marks[number] & bit]
        between = spread_from_initial(
            exploration, starts, lambda number: not marks[number] & bits.any
        )
        lost = next((number for number in between.order if not arrives[number]), None)
        if lost is not None:
            yield _unending_finding(exploration, name, between, lost)


def _unending_finding(exploration: Exploration, name: str, between: Spread, lost: int) -> Finding:
    """Its scenario is the shortest of those that pass through the mode."""
    start, path = between.path_to(lost)
    return Finding(
        code="unending-switch",
        subject=name,
        text=f"a switch out of {name} can never end in any mode",
        place=exploration.product.device.modes[name].place,
        way=way_along(exploration, start, path),
    )
