"""Sketches in which changes are marked: by a sign with a word, and by a class of their own.

The words are above the name of a state, a link or a chip, and above the words of a rule, so that
the marks do not depend on colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from modecheck.draw.sketch import (
    Arrow,
    Box,
    LegendEntry,
    Run,
    Sketch,
    SketchFrame,
    TextBlock,
    TextLine,
)

SIGNS = {
    "added": "+ new",
    "removed": "− gone",
    "changed": "≠ changed",
    "renamed": "→ renamed",
    "moved": "↕ moved",
}
"""The sign and the word of each mark."""
MEANINGS = {
    "added": "only here: new",
    "removed": "only here: removed",
    "changed": "differs on the other side",
    "renamed": "has another name on the other side",
    "moved": "in another place in its order",
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
    """The sketch with these marks, and their signs in its legend."""
    marking = _Marking(marks)
    frames = tuple(map(marking.frame, sketch.frames))
    boxes = tuple(map(marking.box, sketch.boxes))
    arrows = tuple(map(marking.arrow, sketch.arrows))
    samples = tuple(
        LegendEntry("words", SIGNS[mark], MEANINGS[mark]) for mark in SIGNS if mark in marking.used
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
        mark = self._marks.parts.get(box.key, "")
        words = self._words(mark, box.rules, named=True)
        return replace(box, blocks=(*words, *box.blocks), mark=mark) if words else box

    def frame(self, frame: SketchFrame) -> SketchFrame:
        """A frame with its mark in its header; the outermost frame has it in its words."""
        mark = self._marks.parts.get(frame.key, "")
        header = frame.header
        words = self._words(mark, header.rules, named=True)
        if words and frame.shape != "diagram":
            header = replace(header, blocks=(*words, *header.blocks))
        told = self.box(frame.words) if frame.words is not None else None
        return replace(frame, header=header, words=told, mark=mark)

    def arrow(self, arrow: Arrow) -> Arrow:
        """An arrow with the mark of what it stands for, or of all of its rules."""
        if arrow.label is None:
            return arrow
        mark = self._marks.parts.get(arrow.key, "")
        words = self._words(mark, arrow.rules)
        if not words:
            return arrow
        own = {self._marks.rules.get(title, "") for title in arrow.rules}
        label = replace(arrow.label, blocks=(*words, *arrow.label.blocks))
        return replace(arrow, label=label, mark=mark or (own.pop() if len(own) == 1 else ""))

    def _words(
        self, mark: str, rules: tuple[str, ...], *, named: bool = False
    ) -> tuple[TextBlock, ...]:
        """The signs of a part and of its rules. Rules are `named` where their sign could be taken
        for that of the state that they stand in.
        """
        lines = [SIGNS[mark]] if mark else []
        found = {title: self._marks.rules[title] for title in rules if title in self._marks.rules}
        self.used |= {mark, *found.values()} - {""}
        alone = len(rules) == 1 and not named
        lines += [SIGNS[one] if alone else f"{SIGNS[one]}: {title}" for title, one in found.items()]
        return tuple(TextBlock((TextLine((Run(line, "trigger"),)),)) for line in lines)
