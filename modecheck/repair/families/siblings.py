"""What another chip of the same file does otherwise: a rule of it, taken over."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.repair.changes import Data, RepairChange
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, WrittenRule

SIBLING = "siblings"


def sibling_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Each rule in which two chips of one file differ, as the other chip has it."""
    for chip in at.entries:
        for other in at.entries:
            if other is not chip and chip.file and chip.file == other.file:
                yield from _taken_over(at, chip, other)


def _taken_over(
    at: RepairSituation, chip: WrittenChip, other: WrittenChip
) -> Iterator[RepairChange]:
    theirs = {rule.path: rule for rule in other.rules}
    for rule in chip.rules:
        known = theirs.pop(rule.path, None)
        if known is not None and known.data != rule.data:
            words = f"{rule.name} does as {other.name} does"
            yield at.change_rule(
                SIBLING, rule, _differences(rule.data, known.data), words, rank=-1.0
            )
    for path, missing in theirs.items():
        yield _missing(at, chip, other, path, missing)


def _differences(mine: Data, theirs: Data) -> Data:
    """The keys that make the one mapping the other."""
    keys = [key for key in {**mine, **theirs} if mine.get(key) != theirs.get(key)]
    return {key: theirs.get(key) for key in keys}


def _missing(
    at: RepairSituation,
    chip: WrittenChip,
    other: WrittenChip,
    path: tuple[str, ...],
    rule: WrittenRule,
) -> RepairChange:
    overlay = at.written.on_chip(chip.name, path, rule.data, all_alike=False)
    words = f"{chip.name}: {rule.name} as {other.name} has it"
    about = frozenset({(chip.name, rule.name)})
    return RepairChange(SIBLING, words, overlay, about, timers=int("after" in rule.data), rank=-0.5)
