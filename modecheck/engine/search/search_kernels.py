"""The inner loops of searches over a state graph, forwards and backwards.

States are numbered by depth. The transitions of state `i` are `first[i]` to `first[i + 1] - 1` in
`targets` and `notes`, of the first `linked` states; transposed, those into it are `into[i]` to
`into[i + 1] - 1` in `sources` and `notes_into`, sources in ascending order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel
from modecheck.engine.search.mark_kernels import next_marked

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s

UNREACHED = 0xFFFFFFFF
"""Stands for no state in arrays of state numbers."""
START = 0xFFFFFFFE
"""Stands for the state before a start."""


# Backwards


@Kernel
def most_between(first: I64s) -> Any:
    """The most transitions that any state has."""
    most: Any = 0
    for number in range(len(first) - 1):
        most = max(most, first[number + 1] - first[number])
    return most


@Kernel
def transpose(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    into: I64s,
    sources: U32s,
    notes_into: U16s,
) -> None:
    """Counting sort of the transitions by target; `into` has room for one more than the states."""
    count = len(into) - 1
    for edge in range(first[linked]):
        into[targets[edge] + 1] += 1
    # Counts become beginnings; edges are then placed in the order of their sources, so that those
    # into a state are in ascending order and no search depends on how the graph was built.
    for number in range(count):
        into[number + 1] += into[number]
    # `into[t]` serves as the place to fill next, and is moved back afterwards.
    for number in range(linked):
        for edge in range(first[number], first[number + 1]):
            target = targets[edge]
            place = into[target]
            sources[place] = number
            notes_into[place] = notes[edge]
            into[target] = place + 1
    for number in range(count, 0, -1):
        into[number] = into[number - 1]
    into[0] = 0


# Forwards


@Kernel
def depth_of(ends: I64s, number: int, depth: int) -> Any:
    """The depth of a state that is not above a depth; 0 where no ends of depths are told."""
    while depth < len(ends) and ends[depth] <= number:
        depth += 1
    return depth


@Kernel
def spread_forwards(  # noqa: C901 - one loop over distances
    first: I64s,
    targets: U32s,
    linked: int,
    marks: U64s,
    starts: np.uint64,
    ends: I64s,
    blocked: np.uint64,
    enters: bool,
    came_from: U32s,
    inside: U32s,
    entered: U32s,
) -> Any:
    """Spread from states with a mark of `starts` through states with none of the `blocked` marks;
    states with some are not passed on from, and entered only if `enters`. Returns how many are
    inside and were entered.

    A start joins in when the spread is as far as its depth: `ends` are the numbers at which depths
    end; without any, all starts join in at once. `came_from` must hold `UNREACHED` everywhere.
    """
    done, count, entries, distance = 0, 0, 0, 0
    start = next_marked(marks, starts, 0)
    depth = depth_of(ends, start, 0)
    while start < len(marks) or done < count:
        end = count
        if done == end and depth > distance:
            distance = depth
        for place in range(done, end):
            state = inside[place]
            if state >= linked:
                continue
            for edge in range(first[state], first[state + 1]):
                target = targets[edge]
                if came_from[target] != UNREACHED:
                    continue
                if not marks[target] & blocked:
                    came_from[target] = state
                    inside[count] = target
                    count += 1
                elif enters:
                    came_from[target] = state
                    entered[entries] = target
                    entries += 1
        if end > done:
            distance += 1
        done = end
        # A start joins after the states of its distance: ties go to what was reached earlier, which
        # is what breadth-first search from the initial state would have found.
        while start < len(marks) and depth <= distance:
            if came_from[start] == UNREACHED:
                came_from[start] = START
                inside[count] = start
                count += 1
            start = next_marked(marks, starts, start + 1)
            depth = depth_of(ends, start, depth)
    return count, entries


# Components


@Kernel
def is_usable(
    edge: int, source: int, target: int, notes: U16s, marks: U64s, barred: U8s, gains: np.uint64,
    only_changes: bool,
) -> Any:  # fmt: skip
    """Whether a transition is one of those that are followed."""
    if barred[notes[edge]] or (only_changes and source == target):
        return False
    return not marks[target] & ~marks[source] & gains


@Kernel
def find_components(  # noqa: C901 - one depth-first search
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    inside: U8s,
    barred: U8s,
    gains: np.uint64,
    only_changes: bool,
    component: U32s,
    order: U32s,
    low: U32s,
    stack: U32s,
    call_states: U32s,
    index: U32s,
    call_edges: I64s,
) -> Any:
    """Number the strongly connected components of the states with 1 in `inside` from 1 on (Tarjan
    1972, without recursion), and put these states in order, component by component, each behind all
    that a path leads to from it; how many states. The other arrays have room for all states.

    Not followed are transitions with a note that is barred, those that gain one of the marks
    `gains`, and, with `only_changes`, those in place.
    """
    for number in range(len(component)):
        component[number], index[number] = 0, 0
    counter, finished = 0, 0
    height: Any = 0
    ordered: Any = 0
    for root in range(len(first) - 1):
        if inside[root] != 1 or index[root] != 0:
            continue
        depth = 0
        call_states[0], call_edges[0] = root, first[root]
        counter += 1
        index[root], low[root] = counter, counter
        stack[height] = root
        height += 1
        while depth >= 0:
            state = call_states[depth]
            edge, end = call_edges[depth], first[state + 1]
            descended = False
            while edge < end:
                target = targets[edge]
                if inside[target] == 1 and is_usable(
                    edge, state, target, notes, marks, barred, gains, only_changes
                ):
                    if index[target] == 0:
                        call_edges[depth] = edge + 1
                        depth += 1
                        call_states[depth], call_edges[depth] = target, first[target]
                        counter += 1
                        index[target], low[target] = counter, counter
                        stack[height] = target
                        height += 1
                        descended = True
                        break
                    low[state] = min(low[state], index[target])
                edge += 1
            if descended:
                continue
            depth -= 1
            if depth >= 0:
                before = call_states[depth]
                low[before] = min(low[before], low[state])
            if low[state] != index[state]:
                continue
            bottom = height - 1
            while stack[bottom] != state:
                bottom -= 1
            finished += 1
            for place in range(bottom, height):
                member = stack[place]
                component[member] = finished
                index[member] = UNREACHED
                order[ordered] = member
                ordered += 1
            height = bottom
    return ordered


# Single transitions


@Kernel
def first_loss(
    begin: int,
    end: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    ends: np.uint64,
    barred: U8s,
) -> Any:
    """Of the transitions of the states from `begin` to `end` the first after which a bit of `ends`
    is gone, unless its note is barred: the state before it and its number, or -1 twice.
    """
    for number in range(begin, end):
        before = marks[number] & ends
        if not before:
            continue
        for edge in range(first[number], first[number + 1]):
            if before & ~marks[targets[edge]] and not barred[notes[edge]]:
                return number, edge
    return -1, -1


@Kernel
def first_change(
    begin: int, end: int, first: I64s, targets: U32s, marks: U64s, before: np.uint64,
    after: np.uint64,
) -> Any:  # fmt: skip
    """The first transition from a state with one mark to a state with the other, and its state."""
    for number in range(begin, end):
        if not marks[number] & before:
            continue
        for edge in range(first[number], first[number + 1]):
            if marks[targets[edge]] & after:
                return number, edge
    return -1, -1


@Kernel
def first_between(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    marks: U64s,
    inside: U8s,
    starts: np.uint64,
    wanted: U8s,
) -> Any:
    """The first transition with a note that is wanted, from a state inside; not between two starts.
    Its state and its number, or -1 twice.
    """
    for number in range(linked):
        if not inside[number]:
            continue
        for edge in range(first[number], first[number + 1]):
            stays = marks[number] & starts and marks[targets[edge]] & starts
            if wanted[notes[edge]] and not stays:
                return number, edge
    return -1, -1
