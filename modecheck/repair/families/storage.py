"""What a chip begins with and keeps: its first state, first values, and what survives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.repair.changes import Matters, RepairChange, Value
from modecheck.repair.families.writes import spelled_values
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip

STORE, START = "storage", "starts"


def storage_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """A variable that survives a power cut, or does not."""
    for chip in at.entries:
        model = at.chips_of(chip.name)[0]
        for name, variable in model.variables.items():
            value: Value = not variable.persistent
            verb = "is lost with" if variable.persistent else "survives"
            rank = 1.5 if variable.persistent else 0.0
            if not _cuts(at, chip):
                continue
            words = f"{name} {verb} a power cut"
            keys = _declared(chip, name, {"persistent": value})
            one = _on(at, STORE, chip, keys, words, rank)
            yield replace(one, matters=Matters.WHERE_USED)


def _declared(
    chip: WrittenChip, name: str, keys: dict[str, Value]
) -> tuple[tuple[str, ...], Value]:
    """Keys of a variable, which may have been declared by a word alone."""
    variables = chip.body.get("variables")
    now = variables.get(name) if isinstance(variables, dict) else None
    if isinstance(now, dict):
        return ("variables", name), {**keys}
    return ("variables", name), {str(now): True, **keys}


def _cuts(at: RepairSituation, chip: WrittenChip) -> bool:
    names = {one.name for one in at.chips_of(chip.name)}
    return any(
        group.kind in ("power_cut", "reset") and names & set(group.targets)
        for group in at.device.faults
    )


def start_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Another first state, another first value."""
    for chip in at.entries:
        model = at.chips_of(chip.name)[0]
        tops = [state.name for state in model.states.values() if state.parent is None]
        for state in tops:
            if state != model.initial:
                words = f"it starts in {state}"
                yield _on(at, START, chip, (("initial",), state), words, 0.5)
        for name, variable in model.variables.items():
            first, *others = spelled_values(variable)
            told = f"{name} starts as" if not variable.length else f"each item of {name} starts as"
            alike = len(set(variable.start)) == 1
            now = f", not {first}" if alike else ""
            for word in others if alike else [first, *others]:
                keys = _declared(chip, name, {"start": _typed(word)})
                yield _on(at, START, chip, keys, f"{told} {word}{now}", 1.0)


def _typed(word: str) -> Value:
    if word in ("true", "false"):
        return word == "true"
    return int(word) if word.lstrip("-").isdigit() else word


def _on(
    at: RepairSituation, family: str, chip: WrittenChip, what: tuple[tuple[str, ...], Value],
    words: str, rank: float,
) -> RepairChange:  # fmt: skip
    chips = at.written.alike(chip.name)
    near = any(one.name in at.named for one in at.chips_of(chip.name))
    return RepairChange(
        family,
        f"{' and '.join(chips)}: {words}",
        at.written.on_chip(chip.name, *what, all_alike=True),
        frozenset((one, "") for one in chips),
        rank=rank + (0.0 if near else 1.0),
    )
