"""The inner loops of the search for fair loops: components, judged one by one, and paths in one.

Which transitions a loop may use, `is_usable` of `search_kernels` tells; a state is `inside` when a
loop may go through it. See `modecheck.engine.search.fair_loops` for why this is exact.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel
from modecheck.engine.search.search_kernels import is_usable

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import I32s, I64s, U8s, U16s, U32s, U64s


@Kernel
def judge_components(
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    inside: U8s,
    barred: U8s,
    gains: np.uint64,
    only_changes: bool,
    set_of_note: I32s,
    strong: U8s,
    needed: U8s,
    visits: U64s,
    rests_on: U8s,
    component: U32s,
    order: U32s,
    possible: I64s,
    taken: U8s,
    seen_at: I64s,
    found: U32s,
    nearest: I64s,
) -> Any:
    """Judge each of the components that `find_components` has found: those without a fair loop are
    taken out of `inside`, and so are the states that a fair loop would have to avoid. Returns
    whether any were, so that components have to be found anew.

    A component that is fair is taken out as well, and its states get its number in `found`.
    `nearest` holds how many there were so far, and the number and the first state of the one whose
    first state comes first. `possible`, `taken` and `seen_at` have room for each fairness set.
    """
    again = False
    begin: Any = 0
    while begin < len(order):
        end, smallest = begin + 1, order[begin]
        while end < len(order) and component[order[end]] == component[order[begin]]:
            smallest = min(smallest, order[end])
            end += 1
        verdict = judge(
            first, targets, notes, marks, barred, gains, only_changes, set_of_note, strong, needed,
            visits, rests_on, component, order, begin, end, possible, taken, seen_at,
        )  # fmt: skip
        if verdict == 1:
            nearest[0] += 1
            for place in range(begin, end):
                found[order[place]] = nearest[0]
            if smallest < nearest[2]:
                nearest[1], nearest[2] = nearest[0], smallest
        # Its states are done with, or, where some have to go first, are looked at again with the
        # rest.
        for place in range(begin, end):
            member = order[place]
            if verdict != 2 or is_wronged(
                member, first, targets, notes, set_of_note, strong, possible, taken
            ):
                inside[member] = 0
        again = again or verdict == 2
        begin = end
    return again


@Kernel
def judge(  # noqa: C901 - what is counted in one pass decides
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    barred: U8s,
    gains: np.uint64,
    only_changes: bool,
    set_of_note: I32s,
    strong: U8s,
    needed: U8s,
    visits: U64s,
    rests_on: U8s,
    component: U32s,
    order: U32s,
    begin: int,
    end: int,
    possible: I64s,
    taken: U8s,
    seen_at: I64s,
) -> Any:
    """What the component between two places of the order is: 0 has no fair loop, 1 is fair, 2 has
    to lose states first. Leaves in `possible` and `taken` what was counted in it. A loop has to use
    a transition whose note is `needed`.
    """
    own = component[order[begin]]
    for mark in range(len(visits)):
        place = begin
        while place < end and not marks[order[place]] & visits[mark]:
            place += 1
        if place == end:
            return 0
    for number in range(len(strong)):
        possible[number], taken[number], seen_at[number] = 0, 0, -1
    linked = False
    for member in range(begin, end):
        state = order[member]
        for edge in range(first[state], first[state + 1]):
            number, target = set_of_note[notes[edge]], targets[edge]
            if number >= 0 and target != state and seen_at[number] != state:
                seen_at[number] = state
                possible[number] += 1
            if component[target] == own and is_usable(
                edge, state, target, notes, marks, barred, gains, only_changes
            ):
                linked = linked or needed[notes[edge]] == 1
                if number >= 0:
                    taken[number] = 1
    if not linked:
        # A set, if any, because of which a device does not stay where no loop is.
        for wanted in range(2):
            for number in range(len(strong)):
                if strong[number] == wanted and possible[number] > 0:
                    rests_on[number] = 1
                    return 0
        return 0
    # Weak: possible in every state of the component, and never taken in it.
    for number in range(len(strong)):
        if strong[number] == 0 and taken[number] == 0 and possible[number] == end - begin:
            rests_on[number] = 1
            return 0
    # Strong: possible somewhere, and never taken. A smaller loop that avoids those states may be
    # fair.
    wronged = False
    for number in range(len(strong)):
        if strong[number] == 1 and taken[number] == 0 and possible[number] > 0:
            rests_on[number] = 1
            wronged = True
    return 2 if wronged else 1


@Kernel
def is_wronged(
    state: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    set_of_note: I32s,
    strong: U8s,
    possible: I64s,
    taken: U8s,
) -> Any:
    """Whether a strong set that its component never takes is possible in a state."""
    for edge in range(first[state], first[state + 1]):
        number = set_of_note[notes[edge]]
        if targets[edge] == state:
            continue
        if number >= 0 and strong[number] == 1 and taken[number] == 0 and possible[number] > 0:
            return True
    return False


@Kernel
def find_path(
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    inside: U8s,
    barred: U8s,
    gains: np.uint64,
    only_changes: bool,
    start: int,
    goals: U8s,
    last: U8s,
    end: int,
    came_from: I64s,
    pending: U32s,
    labels: U64s,
    ordered: I64s,
) -> Any:
    """The transition that ends a shortest path from a state, or -1; `came_from`, 0 at first, holds
    for each state the transition it was first reached by, plus one. `goals` has one flag for each
    state, or is empty; `last` flags the notes of transitions that end it. `ordered` has room for
    the transitions of one state.
    """
    pending[0] = start
    done, waiting = 0, 1
    while done < waiting:
        state = pending[done]
        done += 1
        put_in_order(first[state], first[state + 1], targets, notes, labels, ordered)
        for place in range(first[state + 1] - first[state]):
            edge = ordered[place]
            target = targets[edge]
            if inside[target] == 0 or not is_usable(
                edge, state, target, notes, marks, barred, gains, only_changes
            ):
                continue
            if target == end or (len(goals) > 0 and goals[target] == 1):
                return edge
            if last[notes[edge]] == 1:
                return edge
            if came_from[target] == 0 and target != start:
                came_from[target] = edge + 1
                pending[waiting] = target
                waiting += 1
    return -1


@Kernel
def put_in_order(
    begin: int, end: int, targets: U32s, notes: U16s, labels: U64s, ordered: I64s
) -> None:
    """The transitions of a state by label, then by target: few enough to be inserted one by one."""
    for edge in range(begin, end):
        place = edge - begin
        label, target = labels[notes[edge]], targets[edge]
        while place > 0:
            before = ordered[place - 1]
            other = labels[notes[before]]
            if other < label or (other == label and targets[before] <= target):
                break
            ordered[place] = before
            place -= 1
        ordered[place] = edge


@Kernel
def without_set(
    first: I64s,
    targets: U32s,
    notes: U16s,
    inside: U8s,
    set_of_note: I32s,
    number: int,
    flags: U8s,
) -> None:
    """Flag the states inside in which no step of a fairness set is possible that leads away."""
    for state in range(len(first) - 1):
        flags[state] = 0
        if inside[state] == 0:
            continue
        flags[state] = 1
        for edge in range(first[state], first[state + 1]):
            if set_of_note[notes[edge]] == number and targets[edge] != state:
                flags[state] = 0
                break


@Kernel
def flag_component(found: U32s, number: int, states: U8s, shallowest: I64s) -> Any:
    """Flag the states of a component, and note the first of them; how many are noted."""
    count = 0
    for state in range(len(found)):
        if found[state] == number:
            states[state] = 1
            if count < len(shallowest):
                shallowest[count] = state
                count += 1
    return count


@Kernel
def flag_equal(column: I64s, value: int, bit: np.uint64, flags: U64s) -> None:
    """Set a bit where a field has a value."""
    for state in range(len(column)):
        if column[state] == value:
            flags[state] |= bit


@Kernel
def flag_halted(
    first: I64s,
    notes: U16s,
    linked: int,
    at_once: U8s,
    delivers: U64s,
    late: U64s,
    due: np.uint64,
    halted: np.uint64,
    marks: U64s,
) -> None:
    """Mark the states in which time cannot go on: with a mark of `due`, or a transition whose note
    is `at_once`, or `delivers` over a link whose head is `late`.
    """
    for state in range(len(marks)):
        waits = marks[state] & due != 0
        if state < linked:
            for edge in range(first[state], first[state + 1]):
                if at_once[notes[edge]] or delivers[notes[edge]] & late[state]:
                    waits = True
        if waits:
            marks[state] |= halted


@Kernel
def keep_restless(column: I64s, works: U8s, inside: U8s) -> None:
    """Only states in which a chip is in a leaf where it works stay inside."""
    for state in range(len(inside)):
        if not works[column[state]]:
            inside[state] = 0


@Kernel
def keep_flagged(flags: U8s, inside: U8s) -> None:
    """Only states that are flagged stay inside."""
    for state in range(len(inside)):
        if not flags[state]:
            inside[state] = 0
