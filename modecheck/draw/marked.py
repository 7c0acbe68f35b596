"""Sketches with what changed marked: by a sign and a word, and by a thick outline.

A sign stands before the name of a state, a link or a chip, or before the words of a rule; whoever
sees no colour reads the sign. Boxes and arrows keep their places, so that two pictures side by side
are as alike as their models.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from modecheck.draw.sketch import Arrow, Block, Box, Frame, Line, Run, Sample, Sketch

SIGNS = {"added": "＋ new", "removed": "－ gone", "changed": "≠ changed", "renamed": "→ renamed"}
"""The sign and the word of each mark."""
MEANINGS = {
    "added": "only here: it is new",
    "removed": "only here: it is gone",
    "changed": "says something else on the other side",
    "renamed": "has another name on the other side",
}


@dataclass(frozen=True, slots=True)
class Marks:
    """What to mark: states, chips and links by the key of their box, arrow or frame, and rules by
    their title, each with a key of `SIGNS`.
    """

    parts: Mapping[str, str] = field(default_factory=dict)
    rules: Mapping[str, str] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.parts or self.rules)


def marked(sketch: Sketch, marks: Marks) -> Sketch:
    """The sketch with these marks, and with their signs in its legend."""
    marking = _Marking(marks)
    frames = tuple(map(marking.frame, sketch.frames))
    boxes = tuple(map(marking.box, sketch.boxes))
    arrows = tuple(map(marking.arrow, sketch.arrows))
    samples = tuple(
        Sample("words", SIGNS[mark], MEANINGS[mark]) for mark in SIGNS if mark in marking.used
    )
    return replace(
        sketch, frames=frames, boxes=boxes, arrows=arrows, samples=(*sketch.samples, *samples)
    )


class _Marking:
    def __init__(self, marks: Marks) -> None:
        self._marks = marks
        self.used: set[str] = set()

    def box(self, box: Box) -> Box:
        """A box with the mark of what it stands for, and with those of the rules in it."""
        lines = self._lines(self._marks.parts.get(box.key, ""), box.rules)
        return replace(box, blocks=(*lines, *box.blocks)) if lines else box

    def frame(self, frame: Frame) -> Frame:
        header = frame.header
        lines = self._lines(self._marks.parts.get(frame.key, ""), header.rules)
        if lines and frame.shape != "diagram":
            header = replace(header, blocks=(*lines, *header.blocks))
        words = self.box(frame.words) if frame.words is not None else None
        return replace(frame, header=header, words=words)

    def arrow(self, arrow: Arrow) -> Arrow:
        if arrow.label is None:
            return arrow
        lines = self._lines(self._marks.parts.get(arrow.key, ""), arrow.rules)
        if not lines:
            return arrow
        label = replace(arrow.label, blocks=(*lines, *arrow.label.blocks))
        return replace(arrow, label=label)

    def _lines(self, mark: str, rules: tuple[str, ...]) -> tuple[Block, ...]:
        lines = [SIGNS[mark]] if mark else []
        self.used |= {mark} - {""}
        found = {title: self._marks.rules[title] for title in rules if title in self._marks.rules}
        self.used |= set(found.values())
        several = len(rules) > 1 or not rules
        lines += [f"{SIGNS[m]}: {t}" if several else SIGNS[m] for t, m in found.items()]
        return tuple(Block((Line((Run(line, "mark"),)),)) for line in lines)
