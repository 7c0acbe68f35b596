"""Activities of one controller: what they name must be there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from modecheck.model.parts import Chip
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import ScalarNode


def note_odd_activities(
    chips: Mapping[str, Chip],
    masked: Mapping[str, Sequence[ScalarNode]],
    broken: Collection[str],
    shapes: Shapes,
) -> None:
    """Note activities that are alone on their controller, or are people, and masks of what does
    not run there; `masked` are the names that the states of each chip mask.
    """
    together = Counter(chip.runs_on for chip in chips.values() if not chip.actor)
    for chip in chips.values():
        if chip.runs_on and chip.actor:
            message = f"the actor {chip.name!r} runs on no controller"
            shapes.notes.add(message, chip.place, expected="'runs_on' of a chip")
        elif chip.runs_on and together[chip.runs_on] < 2 and not broken:
            others = [name for name in together if name not in ("", chip.runs_on)]
            message = f"nothing but {chip.name} runs on {chip.runs_on!r}"
            expected = "" if others else "another chip with the same 'runs_on'"
            shapes.notes.add(
                message, chip.place, word=chip.runs_on, choices=others, expected=expected
            )
        _note_masked(chip, chips, masked.get(chip.name, ()), broken, shapes)


def _note_masked(
    chip: Chip,
    chips: Mapping[str, Chip],
    masked: Sequence[ScalarNode],
    broken: Collection[str],
    shapes: Shapes,
) -> None:
    same = {name for name, one in chips.items() if one.runs_on and one.runs_on == chip.runs_on}
    for scalar in masked:
        if scalar.text not in {*(same - {chip.name}), *broken}:
            where = repr(chip.runs_on) if chip.runs_on else "its controller, since it has none"
            message = f"no other activity {scalar.text!r} runs on {where}"
            expected = "" if same else "'runs_on' in both chips"
            choices = sorted(same - {chip.name})
            shapes.notes.add(
                message, scalar.place, word=scalar.text, choices=choices, expected=expected
            )
