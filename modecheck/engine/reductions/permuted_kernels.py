"""The inner loops of searches over transitions that exchange states for representatives.

Of every state there are several flags, one in each column: those of state `i` begin at
`i * columns`. A transition gives the state before it those of the state behind it, in other
columns: `back` has for each note the column that goes into each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel

if TYPE_CHECKING:
    from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s


@Kernel
def flag_asked(marks: U64s, some: U64s, lacking: U64s, flags: U8s) -> None:
    """Flag in column `j` the states that have one of the marks `some[j]` or lack one of those of
    `lacking[j]`.
    """
    columns = len(some)
    for number in range(len(marks)):
        for column in range(columns):
            if marks[number] & some[column] or lacking[column] & ~marks[number]:
                flags[number * columns + column] = 1


@Kernel
def own_flags(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    columns: int,
    of_note: U8s,
    stays: U8s,
    flags: U8s,
) -> None:
    """Give each state the flags of the notes of its own transitions, but of those in place: to the
    same representative, with a note that `stays`.
    """
    for number in range(linked):
        for edge in range(first[number], first[number + 1]):
            if targets[edge] == number and stays[notes[edge]]:
                continue
            for column in range(columns):
                if of_note[notes[edge] * columns + column]:
                    flags[number * columns + column] = 1


@Kernel
def set_unknown_rows(
    failing: U8s, linked: int, past_failures: bool, columns: int, flags: U8s
) -> None:
    """Set all flags of the states whose future is unknown; past a step that fails it is, too."""
    for number in range(len(failing)):
        if number >= linked or (past_failures and failing[number]):
            for column in range(columns):
                flags[number * columns + column] = 1


@Kernel
def spread_permuted(
    flags: U8s,
    columns: int,
    pending: U32s,
    waiting: U8s,
    into: I64s,
    sources: U32s,
    notes_into: U16s,
    back: I64s,
    allowed: U8s,
) -> None:
    """Set the flags of every state from which a path leads to a flag that is set.

    `pending` is a ring with room for all states. Column `j` does not go over a transition whose
    note has 0 in column `j` of `allowed`.
    """
    size = len(pending)
    head, count = 0, 0
    for number in range(size - 1, -1, -1):
        for column in range(columns):
            if flags[number * columns + column] and not waiting[number]:
                pending[count] = number
                waiting[number] = 1
                count += 1
    while count > 0:
        here = pending[head]
        head = head + 1 if head + 1 < size else 0
        count -= 1
        waiting[here] = 0
        for edge in range(into[here], into[here + 1]):
            before, note = sources[edge], notes_into[edge] * columns
            changed = False
            for column in range(columns):
                place = before * columns + column
                if (
                    not flags[place]
                    and allowed[note + column]
                    and flags[here * columns + back[note + column]]
                ):
                    flags[place] = 1
                    changed = True
            if changed and not waiting[before]:
                waiting[before] = 1
                end = head + count
                pending[end if end < size else end - size] = before
                count += 1


@Kernel
def next_row_lacking(flags: U8s, full: U8s, number: int) -> Any:
    """The first state from a number on that lacks a flag of those that are `full`, or -1."""
    columns = len(full)
    for other in range(number, len(flags) // columns):
        for column in range(columns):
            if full[column] and not flags[other * columns + column]:
                return other
    return -1


@Kernel
def first_permuted_loss(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    marks: U64s,
    wanted: U64s,
    barred: U8s,
    bits: U64s,
    back: U64s,
) -> Any:
    """The first transition after which a mark of `wanted[j]` is gone, unless its note is barred for
    `j`: the state before it, the transition's number and `j`, or -1 three times. `back` has for
    each note and each of the `bits` the mark behind the transition that tells of it.
    """
    forms = len(wanted)
    for number in range(linked):
        for edge in range(first[number], first[number + 1]):
            for form in range(forms):
                before = marks[number] & wanted[form]
                if not before or barred[notes[edge] * forms + form]:
                    continue
                for bit in range(len(bits)):
                    behind = back[notes[edge] * len(bits) + bit]
                    if before & bits[bit] and not marks[targets[edge]] & behind:
                        return number, edge, form
    return -1, -1, -1


@Kernel
def first_permuted_change(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    marks: U64s,
    wanted: U64s,
    reached: U64s,
    bits: U64s,
    back: U64s,
) -> Any:
    """The first transition from a state with a mark of `wanted[j]` to one with a mark of
    `reached[j]`: the state before it, the transition's number and `j`, or -1 three times.
    """
    for number in range(linked):
        for edge in range(first[number], first[number + 1]):
            for form in range(len(wanted)):
                if not marks[number] & wanted[form]:
                    continue
                for bit in range(len(bits)):
                    behind = back[notes[edge] * len(bits) + bit]
                    if reached[form] & bits[bit] and marks[targets[edge]] & behind:
                        return number, edge, form
    return -1, -1, -1
