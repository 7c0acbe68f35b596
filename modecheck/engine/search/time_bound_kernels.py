"""The inner loops of the search for times, as `time_bounds.py` explains them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import I32s, I64s, U8s, U16s, U32s, U64s


@Kernel
def tell_kinds(
    marks: U64s, both: np.uint64, inside: np.uint64, goal: np.uint64, linked: int, kinds: U8s
) -> None:
    """Of each state whether it is of the region (1), or a goal (2), or neither."""
    for number in range(len(marks)):
        if marks[number] & both == inside:
            kinds[number] = 1 if number < linked else 0
        elif goal == 0 or marks[number] & goal:
            kinds[number] = 2


@Kernel
def flag_outside(kinds: U8s, flags: U8s) -> None:
    """Flag the states that are not of the region."""
    for number in range(len(kinds)):
        if kinds[number] != 1:
            flags[number] = 1


@Kernel
def standing(
    first: I64s,
    notes: U16s,
    marks: U64s,
    kinds: U8s,
    failing: U8s,
    due: np.uint64,
    stops: U8s,
    held: U64s,
    stands: U8s,
) -> None:
    """Flag the states of the region in which time can pass without a tick."""
    for number in range(len(first) - 1):
        if kinds[number] != 1 or failing[number] or marks[number] & due:
            continue
        stays = True
        for edge in range(first[number], first[number + 1]):
            note = notes[edge]
            if stops[note] or held[note] & marks[number]:
                stays = False
                break
        if stays:
            stands[number] = 1


@Kernel
def find_worst(  # noqa: C901 - one pass over the components
    first: I64s,
    targets: U32s,
    notes: U16s,
    kinds: U8s,
    barred: U8s,
    tick: U8s,
    stands: U8s,
    base: int,
    forever: int,
    component: U32s,
    order: U32s,
    worst: I32s,
) -> None:
    """The greatest number of ticks from each state of the region to a goal, in the order in which
    components were found. `worst` must hold -1 everywhere.
    """
    begin: Any = 0
    further: Any = forever  # has 64 bits, so that a tick more is none too many
    while begin < len(order):
        own = component[order[begin]]
        longest: Any = base
        goes_round = False
        end = begin
        while end < len(order) and component[order[end]] == own:
            member = order[end]
            end += 1
            if stands[member]:
                goes_round = True
            for out in range(first[member], first[member + 1]):
                target, note = targets[out], notes[out]
                if barred[note] or kinds[target] == 0:
                    continue
                ticks = tick[note]
                if kinds[target] == 2:
                    longest = max(longest, ticks)
                elif component[target] == own:
                    goes_round = goes_round or ticks != 0
                elif worst[target] >= 0:
                    further = worst[target]
                    longest = max(longest, min(further + ticks, forever))
        if goes_round and longest >= 0:
            longest = forever
        for place in range(begin, end):
            worst[order[place]] = longest
        begin = end


@Kernel
def find_best(  # noqa: C901 - one loop over moments
    into: I64s,
    sources: U32s,
    notes_into: U16s,
    kinds: U8s,
    barred: U8s,
    tick: U8s,
    best: I32s,
    now: U32s,
    later: U32s,
) -> None:
    """The least number of ticks to a goal, backwards from the goals. `best` must hold -1; `now` and
    `later` have room for twice the states.
    """
    count: Any = 0
    waiting: Any = 0
    for number in range(len(kinds)):
        if kinds[number] == 2:
            best[number] = 0
            now[count] = number
            count += 1
    level = 0
    while count > 0:
        done = 0
        while done < count:
            here = now[done]
            done += 1
            if best[here] != level:
                continue
            for edge in range(into[here], into[here + 1]):
                before, note = sources[edge], notes_into[edge]
                if kinds[before] != 1 or barred[note]:
                    continue
                ticks = tick[note]
                if best[before] == -1 or level + ticks < best[before]:
                    best[before] = level + ticks
                    if ticks:
                        later[waiting] = before
                        waiting += 1
                    else:
                        now[count] = before
                        count += 1
        for place in range(waiting):
            now[place] = later[place]
        count, waiting = waiting, 0
        level += 1


@Kernel
def find_starts(
    first: I64s,
    targets: U32s,
    notes: U16s,
    kinds: U8s,
    reached: U8s,
    before: U8s,
    restarts: U8s,
    straight: bool,
    best: I32s,
    worst: I32s,
    found: I64s,
) -> None:
    """The first steps of the shortest and the longest stretch, into `found`: ticks, source and
    number of the transition, twice. It must hold -1 everywhere. The shortest does not begin with
    a step of `restarts` from where a goal is reached without one.
    """
    for number in range(len(first) - 1):
        if not reached[number]:
            continue
        for edge in range(first[number], first[number + 1]):
            target = targets[edge]
            leaves = before[number] and not before[target]
            again = kinds[number] == 1 and not before[number] and restarts[notes[edge]]
            if not leaves and not again:
                continue
            needed = leaves or worst[number] < 0
            if kinds[target] == 1:
                least, most = best[target], worst[target]
            elif kinds[target] == 2 and straight:
                least, most = 0, 0
            else:
                continue
            if needed and least >= 0 and (found[0] < 0 or least < found[0]):
                found[0], found[1], found[2] = least, number, edge
            if most > found[3]:
                found[3], found[4], found[5] = most, number, edge
