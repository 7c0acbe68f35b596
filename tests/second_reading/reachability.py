"""Paths by brute force: which worlds lead to others, and how far apart they are."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from tests.second_reading.deeds import Outcome
from tests.second_reading.search import Reached


def leading_to(
    reached: Reached,
    goals: Iterable[int],
    allowed: Callable[[Outcome], bool] = lambda _: True,
    *,
    past_failures: bool = True,
) -> set[int]:
    """The worlds from which a path leads to a goal, or into the unknown past a step that fails; by
    going over all worlds again and again until nothing changes.
    """
    found = set(goals)
    found |= {number for number in reached.numbers if past_failures and reached.fails(number)}
    before = -1
    while len(found) != before:
        before = len(found)
        for number in reversed(reached.numbers):
            steps = reached.outcomes[number] if number not in found else []
            if any(allowed(step) and to in found for step, to in steps):
                found.add(number)
    return found


def distances(
    reached: Reached, starts: Iterable[int], enters: Callable[[int], bool] = lambda _: True
) -> dict[int, int]:
    """The worlds that can be reached from some worlds, with the fewest steps."""
    found = dict.fromkeys(starts, 0)
    front = list(found)
    while front:
        following = {
            target: found[number] + 1
            for number in front
            for _, target in reached.outcomes[number]
            if target >= 0 and target not in found and enters(target)
        }
        found |= following
        front = list(following)
    return found
