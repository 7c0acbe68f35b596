"""Who goes first on one controller: priorities, and what a state masks."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.repair.changes import RepairChange, Value
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import texts

TURN = "turns"


def turn_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Another priority of an activity, or a state of it in which another one cannot interrupt."""
    for chip in at.entries:
        model = at.chips_of(chip.name)[0]
        others = [
            one.name
            for one in at.device.chips.values()
            if model.runs_on and one.runs_on == model.runs_on and one.name != model.name
        ]
        levels = sorted({at.device.chips[one].priority for one in others})
        wanted = {level + step for level in levels for step in (-1, 0, 1)} - {model.priority}
        for level in sorted(one for one in wanted if one >= 0):
            words = f"{chip.name}: its priority is {level}, not {model.priority}"
            yield _change(at, chip.name, ("priority",), level or None, words)
        for state, path in chip.states.items():
            now = texts(chip.body_of(state).get("masks"))
            for other in others:
                if other not in now:
                    words = f"{chip.name}: in {state}, it masks {other}"
                    yield _change(at, chip.name, (*path, "masks"), [*now, other], words)


def _change(
    at: RepairSituation, chip: str, path: tuple[str, ...], value: Value, words: str
) -> RepairChange:
    overlay = at.written.on_chip(chip, path, value, all_alike=False)
    return RepairChange(TURN, words, overlay, frozenset({(chip, "")}))
