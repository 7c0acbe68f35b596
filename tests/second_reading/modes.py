"""Modes by brute force: which overlap, which are reached, which follow which."""

from __future__ import annotations

from tests.second_reading.reachability import distances, leading_to
from tests.second_reading.search import Reached
from tests.second_reading.worlds import holds_in


def modes_of(reached: Reached) -> list[frozenset[str]]:
    """The modes in which each world is."""
    modes = reached.device.modes.values()
    return [
        frozenset(mode.name for mode in modes if holds_in(mode.when, world))
        for world in reached.worlds
    ]


def findings_of_modes(reached: Reached) -> dict[str, int | None]:
    """Two at once, never reached, no path between two, a switch that never ends."""
    modes, names = modes_of(reached), list(reached.device.modes)
    found: dict[str, int | None] = {}
    for together in {one for one in modes if len(one) > 1}:
        subject = "+".join(name for name in names if name in together)
        found[f"two-modes:{subject}"] = reached.nearest(
            number for number in reached.numbers if modes[number] == together
        )
    for source in names:
        starts = [number for number in reached.numbers if source in modes[number]]
        if not starts:
            found[f"mode-never-reached:{source}"] = None
            continue
        for target in names:
            goals = {number for number in reached.numbers if target in modes[number]}
            if target != source and goals and not distances(reached, starts).keys() & goals:
                found[f"no-mode-switch:{source}->{target}"] = None
        steps = _unending(reached, modes, starts)
        found |= {} if steps is None else {f"unending-switch:{source}": steps}
    return found


def _unending(reached: Reached, modes: list[frozenset[str]], starts: list[int]) -> int | None:
    """The shortest way through the mode to where no path leads to any mode, and not through one."""
    arriving = leading_to(reached, [number for number in reached.numbers if modes[number]])
    lengths = [
        reached.depths[start] + steps
        for start in starts
        for number, steps in distances(reached, [start], lambda to: not modes[to]).items()
        if number not in arriving
    ]
    return min(lengths, default=None)


def switch_between(reached: Reached, source: str, target: str) -> tuple[str, int] | None:
    """How one mode is followed by another: "direct" or "via" others, and the fewest steps."""
    modes = modes_of(reached)
    starts = [number for number in reached.numbers if source in modes[number]]
    between = distances(reached, starts, lambda number: not modes[number])
    entered = [
        steps + 1
        for number, steps in between.items()
        for _, to in reached.outcomes[number]
        if to >= 0 and target in modes[to] and source not in modes[to]
    ]
    if entered:
        return "direct", min(entered)
    anywhere = distances(reached, starts)
    steps = [steps for number, steps in anywhere.items() if target in modes[number]]
    return ("via", min(steps)) if steps else None
