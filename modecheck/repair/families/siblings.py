"""What another part of the same kind does otherwise: a rule of another chip of the same file, or a
key of a link on the other side, taken over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.repair.changes import Data, Matters, RepairChange, Value, nested
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, WrittenRule

SIBLING = "siblings"
ENDS = ("from", "to")
FOR_BOTH = {*ENDS, "medium", "carries"}
"""Keys in which two links agree that are the same on two sides, but for the names."""


def sibling_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Each rule in which two chips of one file differ, as the other chip has it; each key in which
    two links differ that lead between the same chips of two sides.
    """
    yield from _of_links(at)
    for chip in at.entries:
        for other in at.entries:
            if other is not chip and chip.file and chip.file == other.file:
                yield from _taken_over(at, chip, other)


def _of_links(at: RepairSituation) -> Iterator[RepairChange]:
    for name, (path, data) in at.written.links.items():
        for other, (_, theirs) in at.written.links.items():
            sides = _sides(name, other)
            if sides is None or all(theirs.get(end) == data.get(end) for end in ENDS):
                continue
            wanted = _on_the_side(theirs, *sides)
            assert isinstance(wanted, dict)
            differences = _differences(data, wanted)
            for key in () if FOR_BOTH & set(differences) else differences:
                yield RepairChange(
                    SIBLING, f"{name}: {key} as {other} has it",
                    nested(path, {key: differences[key]}), frozenset({("", name)}),
                    rank=-1.0, matters=Matters.WHERE_USED, differs=1,
                )  # fmt: skip


def _sides(name: str, other: str) -> tuple[str, str] | None:
    """The one word in which two names differ, such as (left, right) of left_air and right_air."""
    pairs = list(zip(name.split("_"), other.split("_"), strict=False))
    unlike = [pair for pair in pairs if pair[0] != pair[1]]
    alike = len(pairs) > 1 and name.count("_") == other.count("_")
    return unlike[0] if alike and len(unlike) == 1 else None


def _on_the_side(value: Value, mine: str, theirs: str) -> Value:
    """What is written for one side, with the names of the other."""
    if isinstance(value, dict):
        return {
            re.sub(_word(theirs), mine, key): _on_the_side(one, mine, theirs)
            for key, one in value.items()
        }
    if isinstance(value, list):
        return [_on_the_side(one, mine, theirs) for one in value]
    return re.sub(_word(theirs), mine, value) if isinstance(value, str) else value


def _word(text: str) -> str:
    """A word of a name: between underscores, or where the name ends."""
    return rf"(?<![^\W_]){re.escape(text)}(?![^\W_])"


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
