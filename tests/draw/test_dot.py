"""The DOT text: whole, quoted, and such that a layout depends on no font."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from modecheck.draw import Drawing, layout
from modecheck.draw.dot_text import quoted
from modecheck.draw.sketch import Sketch
from tests.draw.making import chip_of


def _laid_out(dot: str) -> dict[str, list[dict[str, str]]]:
    program = layout._program("test")
    answer = subprocess.run(
        [str(program), "-Kdot", "-Tjson0"], input=dot.encode(), capture_output=True, check=True
    )
    found: dict[str, list[dict[str, str]]] = json.loads(answer.stdout)
    return found


def _lines(sketch: Sketch) -> set[str]:
    return {stretch.key for arrow in sketch.arrows for stretch in arrow.stretches}


def test_the_text_names_everything_in_the_sketch(every_drawing: list[Drawing]) -> None:
    """Every box, frame and line has a place after the layout."""
    for drawing in every_drawing:
        sketch = drawing.sketch
        places = layout.laid_out(drawing.name, drawing.dot, 0)
        boxes = {box.key for box in sketch.every_box if box.shape not in ("tab", "words")}
        assert set(places.boxes) == boxes
        assert set(places.frames) == {frame.key for frame in sketch.frames}
        assert set(places.lines) == _lines(sketch)


def test_sizes_do_not_depend_on_fonts(stage_drawings: dict[str, Drawing]) -> None:
    """With another face and size, the layout stays the same to the last digit."""
    dot = stage_drawings["chip-hub"].dot
    other = dot.replace('fontname="Arial"', 'fontname="Courier"').replace(
        "fixedsize=true, ", "fixedsize=true, fontsize=30, "
    )
    assert other != dot
    one, two = (layout.laid_out("test", text, 0) for text in (dot, other))
    assert one.boxes == two.boxes


def test_the_text_tells_all_that_the_picture_tells(stage_drawings: dict[str, Drawing]) -> None:
    """Legend, tables and what holds for the whole chip stand in the DOT text, too."""
    dot = stage_drawings["chip-hub"].dot
    for words in (
        "uptime = min(uptime + 1, 3)",
        "the chip may wait here forever",
        "starts as none",
    ):
        assert words in dot


def test_names_of_states_are_names_of_nodes(stage_drawings: dict[str, Drawing]) -> None:
    """Who reads the text finds the states under their own names."""
    dot = stage_drawings["chip-hub"].dot
    assert re.search(r'^ +"searching" \[', dot, re.MULTILINE)
    assert 'subgraph "cluster_online" {' in dot


@given(
    st.text(
        st.characters(codec="utf-8", exclude_characters="\x00", exclude_categories=("Cs", "Cc"))
    )
)
def test_any_text_can_be_quoted(text: str) -> None:
    """A quoted string never ends early: inside it, every quote is escaped."""
    inside = quoted(text)[1:-1]
    assert not re.search(r'(?<!\\)(?:\\\\)*"', inside)


def test_odd_words_reach_the_layout_unharmed(tmp_path: Path) -> None:
    """Quotes, brackets and ampersands in a description do not break the text."""
    about = '"<b>" & \\" ] }'
    chip = chip_of(tmp_path, f"about: {json.dumps(about)}\nstates: {{a: {{about: '\" & <'}}}}")
    from modecheck.draw.statechart import statechart

    objects = _laid_out(Drawing(statechart(chip)).dot)["objects"]
    assert "a" in {thing["name"] for thing in objects}
