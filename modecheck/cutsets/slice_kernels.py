"""The inner loops that take a slice of the states out of a graph, with the steps between them.

Arrays are those of `modecheck.engine.search.state_graph.StateGraph`; a slice has states of its own
numbers, and `numbers` are those that they have in the whole.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import I64s, U8s, U16s, U32s, U64s


@Kernel
def note_places(numbers: U32s, place: U32s) -> None:
    """The place of each of some states among them."""
    for number in range(len(numbers)):
        place[numbers[number]] = number


@Kernel
def take_values(numbers: U32s, values: Any, out: Any) -> None:
    """The values of some states."""
    for number in range(len(numbers)):
        out[number] = values[numbers[number]]


@Kernel
def count_inner(
    numbers: U32s,
    linked: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    both: np.uint64,
    wanted: np.uint64,
    allowed: U8s,
    own_first: I64s,
) -> Any:
    """Where the transitions of each of the first `linked` states begin, if only those are kept
    that stay in the slice, by notes that are `allowed`; how many there are.
    """
    edges: Any = 0
    for number in range(linked):
        own_first[number] = edges
        here = numbers[number]
        for edge in range(first[here], first[here + 1]):
            if allowed[notes[edge]] and marks[targets[edge]] & both == wanted:
                edges += 1
    own_first[linked] = edges
    return edges


@Kernel
def copy_inner(
    numbers: U32s,
    linked: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    marks: U64s,
    both: np.uint64,
    wanted: np.uint64,
    allowed: U8s,
    place: U32s,
    own_targets: U32s,
    own_notes: U16s,
) -> None:
    """Those transitions, with the places of their targets."""
    edges: Any = 0
    for number in range(linked):
        here = numbers[number]
        for edge in range(first[here], first[here + 1]):
            if allowed[notes[edge]] and marks[targets[edge]] & both == wanted:
                own_targets[edges] = place[targets[edge]]
                own_notes[edges] = notes[edge]
                edges += 1


@Kernel
def first_strike(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    marks: U64s,
    strikes: U8s,
    both: np.uint64,
    wanted: np.uint64,
    before: np.uint64,
    lost: np.uint64,
    gained: np.uint64,
    barred: U8s,
) -> Any:
    """The first transition into a slice in which a fault strikes, from a state with a mark of
    `before` (any state, if that is 0), that loses a mark of `lost` or gains one of `gained`: its
    state and its number, or -1.
    """
    for number in range(linked):
        own = marks[number]
        if before and not own & before:
            continue
        for edge in range(first[number], first[number + 1]):
            note, target = notes[edge], targets[edge]
            if not strikes[note] or barred[note]:
                continue
            behind = marks[target]
            if behind & both == wanted and (own & lost & ~behind or behind & gained):
                return number, edge
    return -1, -1


@Kernel
def count_strikes(numbers: U32s, linked: int, first: I64s, notes: U16s, strikes: U8s) -> Any:
    """How many transitions of some states are strikes."""
    count: Any = 0
    for number in range(linked):
        here = numbers[number]
        for edge in range(first[here], first[here + 1]):
            if strikes[notes[edge]]:
                count += 1
    return count


@Kernel
def list_strikes(
    numbers: U32s,
    linked: int,
    first: I64s,
    targets: U32s,
    notes: U16s,
    strikes: U8s,
    sources: U32s,
    behind: U32s,
) -> None:
    """The states before and behind those transitions, as the whole numbers them."""
    count: Any = 0
    for number in range(linked):
        here = numbers[number]
        for edge in range(first[here], first[here + 1]):
            if strikes[notes[edge]]:
                sources[count] = here
                behind[count] = targets[edge]
                count += 1


@Kernel
def keep_and_stay(
    first: I64s,
    targets: U32s,
    notes: U16s,
    linked: int,
    allowed: U8s,
    stay: int,
    own_first: I64s,
    own_targets: U32s,
    own_notes: U16s,
) -> Any:
    """The transitions whose note is `allowed`, and before those of each state one in place, with
    the note `stay`; how many there are.
    """
    edges: Any = 0
    for number in range(linked):
        own_first[number] = edges
        own_targets[edges] = number
        own_notes[edges] = stay
        edges += 1
        for edge in range(first[number], first[number + 1]):
            if allowed[notes[edge]]:
                own_targets[edges] = targets[edge]
                own_notes[edges] = notes[edge]
                edges += 1
    own_first[linked] = edges
    return edges


@Kernel
def rename_marks(marks: U64s, old: U64s, new: U64s, out: U64s) -> None:
    """Add the mark `new[j]` to states with the mark `old[j]`."""
    for number in range(len(marks)):
        own = marks[number]
        for place in range(len(old)):
            if own & old[place]:
                out[number] |= new[place]


@Kernel
def mark_flagged(flags: Any, marks: U64s, bit: np.uint64, out: U64s) -> None:
    """The marks of flagged states, and one more, which tells that they are; 0 for the others."""
    for number in range(len(marks)):
        out[number] = marks[number] | bit if flags[number] else 0


@Kernel
def flag_also(flags: U8s, others: Any, wanted: int, out: U8s) -> None:
    """Flag those of flagged states of which the other flag is set, or is not, as `wanted`."""
    for number in range(len(flags)):
        out[number] = 1 if flags[number] and (others[number] != 0) == (wanted != 0) else 0
