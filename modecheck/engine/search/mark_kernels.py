"""States by their marks, and flags of states: the inner loops that look at no transition."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from modecheck.engine.language.kernel import Kernel

if TYPE_CHECKING:
    import numpy as np

    from modecheck.engine.language.annotations import U8s, U32s, U64s


@Kernel
def select(
    begin: int, end: int, marks: U64s, both: np.uint64, wanted: np.uint64, found: U32s
) -> Any:
    """The states with all wanted marks and none of the others of `both`; how many there are."""
    count = 0
    for number in range(begin, end):
        if marks[number] & both == wanted:
            found[count] = number
            count += 1
    return count


@Kernel
def select_flagged(
    begin: int, end: int, flags: U8s, marks: U64s, unwanted: np.uint64, found: U32s
) -> Any:
    """The states that are flagged and have no unwanted mark; how many there are."""
    count = 0
    for number in range(begin, end):
        if flags[number] and not marks[number] & unwanted:
            found[count] = number
            count += 1
    return count


@Kernel
def first_among(numbers: U32s, marks: U64s, both: np.uint64, wanted: np.uint64) -> Any:
    """The place of the first of some states that has all wanted marks and none of the others of
    `both`, or -1.
    """
    for place in range(len(numbers)):
        if marks[numbers[place]] & both == wanted:
            return place
    return -1


@Kernel
def flag_marked(marks: U64s, both: np.uint64, wanted: np.uint64, flags: U8s) -> None:
    """Flag the states with all wanted marks and none of the others of `both`."""
    for number in range(len(marks)):
        if marks[number] & both == wanted:
            flags[number] = 1


@Kernel
def flag_goals(marks: U64s, some: np.uint64, all_: np.uint64, flags: U8s) -> None:
    """Flag the states that have one of some marks, or lack one of others."""
    for number in range(len(marks)):
        if marks[number] & some or all_ & ~marks[number]:
            flags[number] = 1


@Kernel
def flag_bit(masks: Any, bit: np.uint64, flags: U8s) -> None:
    """Flag the states whose mask has a bit."""
    for number in range(len(masks)):
        flags[number] = 1 if masks[number] & bit else 0


@Kernel
def flag_numbers(numbers: U32s, marks: U64s, unwanted: np.uint64, flags: U8s) -> None:
    """Flag those of some states that have no unwanted mark."""
    for place in range(len(numbers)):
        if not marks[numbers[place]] & unwanted:
            flags[numbers[place]] = 1


@Kernel
def set_unknown(failing: U8s, linked: int, past_failures: bool, value: int, flags: U8s) -> None:
    """Set the flags of the states whose future is unknown; past a step that fails it is, too."""
    for number in range(len(failing)):
        if number >= linked or (past_failures and failing[number]):
            flags[number] = value


@Kernel
def next_lacking(masks: Any, wanted: np.uint64, number: int) -> Any:
    """The first state from a number on that lacks a bit that is wanted, or -1."""
    for other in range(number, len(masks)):
        if wanted & ~masks[other]:
            return other
    return -1


@Kernel
def next_marked(marks: U64s, some: np.uint64, number: int) -> Any:
    """The first state from a number on that has one of some marks, or as many as there are."""
    for other in range(number, len(marks)):
        if marks[other] & some:
            return other
    return len(marks)
