"""The inner loops of sweeps: each looks at the states from `begin` to `end`.

Updates tell how many states they have changed and how many may still change. Transitions are as in
`search_kernels`. Several threads may run a kernel over the same arrays: of a state only the one
writes that has its part, and what it reads of others is at most out of date.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel
from modecheck.engine.search.search_kernels import is_usable

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import I32s, I64s, U8s, U16s, U32s, U64s

FOREVER = 0x7FFFFFFF
"""Stands for a length that is not known yet, and in the end for one without a bound."""
BLOCKED = -1
"""Stands in the place of a number of states where paths end."""


@Kernel
def place_of(step: int, begin: int, end: int, descending: bool) -> Any:
    """The state that comes at a step of a sweep."""
    return end - 1 - step if descending else begin + step


# What a path leads to


@Kernel
def flag_known(
    begin: int,
    end: int,
    marks: U64s,
    failing: U8s,
    linked: int,
    some: U64s,
    lacking: U64s,
    bits: U64s,
    unknown: U64s,
    masks: Any,
) -> None:
    """Set `bits[j]` of each state that has one of the marks `some[j]` or lacks one of `lacking[j]`.
    A state begins with one of `unknown`: the first where its future is known, the second where a
    step fails, the third where its transitions are not kept.
    """
    for number in range(begin, end):
        mask = unknown[2] if number >= linked else unknown[failing[number]]
        own = marks[number]
        for goal in range(len(bits)):
            if own & some[goal] or lacking[goal] & ~own:
                mask |= bits[goal]
        masks[number] = mask


@Kernel
def widen_masks(
    begin: int,
    end: int,
    descending: bool,
    first: I64s,
    targets: U32s,
    notes: U16s,
    own: U64s,
    carried: U64s,
    full: np.uint64,
    masks: Any,
) -> Any:
    """Give states the bits of those behind their transitions, as far as `carried` by a transition's
    note, and `own` bits of the note where it leads away.
    """
    changed: Any = 0
    left: Any = 0
    for step in range(end - begin):
        number = place_of(step, begin, end, descending)
        known = masks[number]
        if known == full:
            continue
        mask: Any = full & known
        edge, stop = first[number], first[number + 1]
        while edge < stop and mask != full:
            note, target = notes[edge], targets[edge]
            mask |= masks[target] & carried[note]
            if target != number:
                mask |= own[note]
            edge += 1
        if mask != known:
            masks[number] = mask
            changed += 1
        if mask != full:
            left += 1
    return changed, left


# States that no cycle passes


@Kernel
def trim(
    begin: int,
    end: int,
    descending: bool,
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
    visits: U64s,
    rests_on: U8s,
) -> Any:
    """Take states out of `inside` from which no transition leads on inside; each is a component of
    its own, without a loop, and is judged as `judge` of `fair_kernels` would.
    """
    changed: Any = 0
    left: Any = 0
    for step in range(end - begin):
        number = place_of(step, begin, end, descending)
        if inside[number] == 0:
            continue
        edge, stop, leads_on = first[number], first[number + 1], False
        while edge < stop and not leads_on:
            target = targets[edge]
            leads_on = inside[target] == 1 and is_usable(
                edge, number, target, notes, marks, barred, gains, only_changes
            )
            edge += 1
        if leads_on:
            left += 1
            continue
        inside[number] = 0
        changed += 1
        owed = owed_alone(number, first, targets, notes, marks, set_of_note, strong, visits)
        if owed >= 0:
            rests_on[owed] = 1
    return changed, left


@Kernel
def owed_alone(
    state: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    set_of_note: I32s,
    strong: U8s,
    visits: U64s,
) -> Any:
    """The fairness set because of which a device does not stay in a state, or -1: the first weak
    one with a step that leads away, or else the first strong one.
    """
    for mark in range(len(visits)):
        if not marks[state] & visits[mark]:
            return -1
    owed: Any = -1
    for edge in range(first[state], first[state + 1]):
        number = set_of_note[notes[edge]]
        if number < 0 or targets[edge] == state:
            continue
        if (
            owed < 0
            or strong[number] < strong[owed]
            or (strong[number] == strong[owed] and number < owed)
        ):
            owed = number
    return owed


# Paths through states that are not blocked


@Kernel
def block(begin: int, end: int, marks: U64s, blocked: np.uint64, lengths: I32s) -> None:
    """Lengths to begin with: `FOREVER`, or `BLOCKED` where a state has one of some marks."""
    for number in range(begin, end):
        lengths[number] = BLOCKED if marks[number] & blocked else FOREVER


@Kernel
def lengthen(
    begin: int,
    end: int,
    descending: bool,
    first: I64s,
    targets: U32s,
    notes: U16s,
    failing: U8s,
    linked: int,
    followed: U8s,
    stays: U8s,
    lengths: I32s,
) -> Any:
    """The most steps of a path from each state that is not blocked, through such states, the last
    perhaps to one that is, by transitions whose note is `followed`, and not in place: to the same
    state, by a note that `stays`. There is no bound where a path leads to a cycle, or to a state
    whose future is unknown.
    """
    changed: Any = 0
    left: Any = 0
    for step in range(end - begin):
        number = place_of(step, begin, end, descending)
        if lengths[number] != FOREVER or number >= linked or failing[number]:
            continue
        edge, stop = first[number], first[number + 1]
        most: Any = 0
        while edge < stop and most < FOREVER:
            note, target = notes[edge], targets[edge]
            if followed[note] and (target != number or not stays[note]):
                behind: Any = lengths[target]
                most = FOREVER if behind == FOREVER else max(most, max(behind, 0) + 1)
            edge += 1
        if most < FOREVER:
            lengths[number] = most
            changed += 1
        else:
            left += 1
    return changed, left


@Kernel
def longest_inside(begin: int, end: int, inside: U8s, lengths: I32s) -> Any:
    """The greatest length of the states that are inside and not blocked, or 0."""
    most: Any = 0
    for number in range(begin, end):
        if inside[number]:
            most = max(most, lengths[number])
    return most


@Kernel
def note_losses(
    begin: int, end: int, first: I64s, targets: U32s, notes: U16s, marks: U64s, lost: U64s
) -> None:
    """For each note the marks that are lost in some transition of the states."""
    for number in range(begin, end):
        before = marks[number]
        for edge in range(first[number], first[number + 1]):
            lost[notes[edge]] |= before & ~marks[targets[edge]]
