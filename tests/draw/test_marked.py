"""Marks of what differs between two devices, in words."""

from __future__ import annotations

from modecheck.draw.marked import Marks, marked
from modecheck.draw.sketch import Box, Sketch


def words_of(sketch: Sketch) -> list[str]:
    """The lines in the first box."""
    blocks = sketch.boxes[0].blocks
    return [line.text for block in blocks for line in block.lines]


def test_the_sign_of_a_rule_is_not_taken_for_that_of_its_state() -> None:
    """A rule whose words stand in a state is named, even if it is the only one there."""
    box = Box("idle", "state", "", state="idle", rules=("turn",))
    sketch = Sketch("chip-hub", "hub", (box,), (), ())
    assert words_of(marked(sketch, Marks(rules={"turn": "changed"}))) == ["≠ changed: turn"]
    both = Marks(parts={"idle": "changed"}, rules={"turn": "changed"})
    assert words_of(marked(sketch, both)) == ["≠ changed", "≠ changed: turn"]
