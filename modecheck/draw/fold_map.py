"""The map of a folded product: states that agree on the chosen parts share a box.

An arrow leads from one box to another where some state in the first has a step to one in the
second; it is solid if every state in the first has one. So the map shows every behaviour of the
product, and perhaps more; its text says so.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.folding import MODE, Folded, FoldedStep, Folding
from modecheck.draw.sketch import (
    Arrow,
    Box,
    End,
    LegendEntry,
    Run,
    Sketch,
    TextBlock,
    TextLine,
    diagram_frame,
)
from modecheck.draw.typesetting import text_lines
from modecheck.model.wording import counted

FOLD_FRAME = "/fold"

MOST_BOXES = 60
"""Boxes of a map: about as many as fit a page. Those further away are merged into one more."""

MOST_NAMED = 90
"""Most arrows labelled with their steps; a map with more shows the arrows alone."""

MOST_STEPS = 5
"""Steps named on one arrow."""

LONGEST_LINE = 34
LONGEST_ABOUT = 76

OTHERS = "/others"
"""The key of the box that holds everything left out."""


def fold_map(folding: Folding) -> Sketch:
    """The picture of a folded product."""
    return _FoldMap(folding).sketch()


class _FoldMap:
    def __init__(self, folding: Folding) -> None:
        self._folding = folding
        self._shown = folding.states[:MOST_BOXES]
        self._left_out = folding.states[MOST_BOXES:]
        self._steps = self._joined_steps()

    def sketch(self) -> Sketch:
        folding = self._folding
        chosen = ", ".join(folding.parts)
        title = f"{folding.product.device.name} by {chosen}"
        words = tuple(TextBlock(text_lines(part, "note", LONGEST_ABOUT)) for part in self._about())
        return Sketch(
            name="fold-" + "-".join(part.replace(".", "-") for part in folding.parts),
            title=f"The product of {folding.product.device.name}, folded by {chosen}",
            boxes=tuple(self._boxes()),
            arrows=tuple(self._arrows()),
            frames=(diagram_frame(FOLD_FRAME, f"fold {title}", words, title),),
            samples=tuple(self._samples()),
        )

    def _about(self) -> Iterator[str]:
        count = sum(state.states for state in self._folding.states)
        yield (
            f"{count:,} states in {len(self._folding.states):,} boxes: states that agree on "
            f"{', '.join(self._folding.parts)} share a box"
        )
        yield (
            "An arrow means that some state in its box has such a step. So every run of the device "
            "follows the arrows, but not every path along them is a run of the device."
        )
        if self._left_out:
            yield (
                f"Only the {MOST_BOXES} boxes nearest to the start are shown; "
                f"the other {len(self._left_out):,} are merged into one."
            )
        if len(self._steps) > MOST_NAMED:
            yield f"{len(self._steps):,} arrows: too many to name their steps."
        if not self._folding.complete:
            yield "Incomplete: not every reachable state was explored and folded."

    def _joined_steps(self) -> list[FoldedStep]:
        """The arrows, those of states that are left out joined."""
        joined: dict[tuple[int, int], FoldedStep] = {}
        for step in self._folding.steps:
            source, target = min(step.source, MOST_BOXES), min(step.target, MOST_BOXES)
            if source == target:
                continue
            known = joined.setdefault((source, target), FoldedStep(source, target))
            known.states += step.states
            for label, count in step.labels.items():
                known.labels[label] = known.labels.get(label, 0) + count
        return list(joined.values())

    def _boxes(self) -> Iterator[Box]:
        yield Box(f"{FOLD_FRAME}/start", "start", FOLD_FRAME, row="top", hint="initial state")
        for number, state in enumerate(self._shown):
            yield Box(_key(number), "mode", FOLD_FRAME, self._words(state), hint=self._hint(state))
        if self._left_out:
            count = sum(state.states for state in self._left_out)
            lines = (
                TextLine((Run(f"{len(self._left_out):,} others", "name"),)),
                TextLine((Run(counted(count, "state"), "note"),)),
            )
            box = TextBlock(lines, centred=True)
            yield Box(_key(MOST_BOXES), "mode", FOLD_FRAME, (box,), hint="everything left out")

    def _words(self, state: Folded) -> tuple[TextBlock, ...]:
        lines = []
        for part, value in zip(self._folding.parts, state.key, strict=True):
            name = Run(value, "name")
            plain = part == MODE or len(self._folding.parts) == 1
            chip = part.removesuffix(".state")
            lines.append(TextLine((name,) if plain else (Run(chip, "note"), name)))
        notes = [TextLine((Run(counted(state.states, "state"), "note"),))]
        if state.unexpanded:
            notes.append(TextLine((Run(f"{state.unexpanded:,} not explored further", "note"),)))
        return (TextBlock(tuple(lines), centred=True), TextBlock(tuple(notes), centred=True))

    def _hint(self, state: Folded) -> str:
        told = ", ".join(
            f"{part} {value}" for part, value in zip(self._folding.parts, state.key, strict=True)
        )
        inside = counted(state.inside, "transition")
        return f"{told}: {counted(state.states, 'state')}, {inside} inside"

    def _arrows(self) -> Iterator[Arrow]:
        start = (End(f"{FOLD_FRAME}/start"),)
        for place in dict.fromkeys(min(one, MOST_BOXES) for one in self._folding.starts):
            yield Arrow(f"start-{place}" if place else "start", start, (End(_key(place)),), None)
        named = len(self._steps) <= MOST_NAMED
        for step in self._steps:
            key = f"step-{step.source}-{step.target}"
            hint = "\n".join(self._names(step))
            label = None
            if named:
                label = Box(f"{key}/label", "label", FOLD_FRAME, (self._label(step),), hint=hint)
            stroke = "certain" if self._is_certain(step) else "possible"
            course = "up" if step.target < step.source else "down"
            ends = (End(_key(step.source)),), (End(_key(step.target)),)
            yield Arrow(key, *ends, label, stroke, "arrow", course, hint)

    def _is_certain(self, step: FoldedStep) -> bool:
        """What leads to or from the box of all others is never certain."""
        inner = max(step.source, step.target) < MOST_BOXES
        return inner and self._folding.is_certain(step)

    def _names(self, step: FoldedStep) -> list[str]:
        """The steps of an arrow, the most frequent first."""
        labels = self._folding.product.labels
        often = sorted(step.labels, key=lambda label: (-step.labels[label], labels[label].text))
        return [labels[label].text for label in often]

    def _label(self, step: FoldedStep) -> TextBlock:
        names = self._names(step)
        lines = [
            line for name in names[:MOST_STEPS] for line in text_lines(name, "guard", LONGEST_LINE)
        ]
        if len(names) > MOST_STEPS:
            lines.append(TextLine((Run(f"and {len(names) - MOST_STEPS} more", "note"),)))
        return TextBlock(tuple(lines))

    def _samples(self) -> Iterator[LegendEntry]:
        yield LegendEntry("box", "start", "initial state")
        yield LegendEntry("box", "mode", "all states that agree on this")
        strokes = {self._is_certain(step) for step in self._steps}
        if True in strokes:
            yield LegendEntry("line", "certain", "every state in the box has such a step")
        if False in strokes:
            yield LegendEntry("line", "possible", "some state in the box has such a step")


def _key(number: int) -> str:
    return OTHERS if number == MOST_BOXES else f"state-{number}"
