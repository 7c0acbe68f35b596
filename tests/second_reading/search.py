"""Everything that can be reached, found the slow way, and distances and paths in it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field

from modecheck.model.parts import Device
from tests.second_reading.clocks import first_clocks
from tests.second_reading.deeds import Outcome
from tests.second_reading.steps import SecondReading
from tests.second_reading.worlds import World, first_worlds


@dataclass
class Reached:
    """All reachable worlds by number, in the order of their distance from the nearest first one."""

    device: Device
    worlds: list[World] = field(default_factory=list)
    depths: list[int] = field(default_factory=list)
    outcomes: list[list[tuple[Outcome, int]]] = field(default_factory=list)

    @property
    def numbers(self) -> range:
        return range(len(self.worlds))

    @property
    def transitions(self) -> int:
        return sum(number >= 0 for steps in self.outcomes for _, number in steps)

    def fails(self, number: int) -> bool:
        """Whether some step from a world must not happen, so that nobody knows what follows."""
        return any(outcome.failures for outcome, _ in self.outcomes[number])

    def reachable_from(
        self, number: int, allowed: Callable[[Outcome], bool] = lambda _: True
    ) -> set[int]:
        """Every world that a path leads to, itself included."""
        found, pending = {number}, [number]
        while pending:
            for outcome, target in self.outcomes[pending.pop()]:
                if target >= 0 and target not in found and allowed(outcome):
                    found.add(target)
                    pending.append(target)
        return found

    def nearest(self, wanted: Iterable[int]) -> int | None:
        """The distance from the first world to the nearest of these, if there is any."""
        return min((self.depths[number] for number in wanted), default=None)


class TooMany(Exception):
    """There are more worlds than a test has time for."""


def search(device: Device, most: int) -> Reached:
    """All worlds of a device, breadth first. Raises `TooMany` beyond `most`."""
    reading, reached = SecondReading(device), Reached(device)
    numbers: dict[Hashable, int] = {}

    def number_of(world: World, depth: int) -> int:
        number = numbers.setdefault(world.key, len(numbers))
        if number == len(reached.worlds):
            if number >= most:
                raise TooMany
            reached.worlds.append(world)
            reached.depths.append(depth)
        return number

    for first in first_worlds(device):
        first_clocks(device, first)
        number_of(first, 0)
    while len(reached.outcomes) < len(reached.worlds):
        at = len(reached.outcomes)
        depth = reached.depths[at] + 1
        reached.outcomes.append(
            [
                (outcome, -1 if outcome.after is None else number_of(outcome.after, depth))
                for outcome in reading.steps(reached.worlds[at])
            ]
        )
    return reached
