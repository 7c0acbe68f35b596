"""Draws a sketch that has been laid out, as SVG 1.1 text.

The picture has its own background, is dark if the reader's screen is dark, and prints light. Every
text declares its intended width, so that viewers without the right typeface squeeze it instead of
letting it overflow.

Other programs may rely on this: the root is `svg.drawing`; in a statechart, the group of each
state, composite ones included, bears `data-state` with its name. `data-rules` holds titles of
rules, one a line: at the group of each arrow, of its label, and of each state with rules that do
not leave it (the words under the tab: those of the whole chip). For the marks of sequence charts
see `modecheck.draw.sequence_chart`.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from modecheck.draw.geometry import Rectangle, around, around_all, flattened
from modecheck.draw.layout import PicturePlaces
from modecheck.draw.legend import below
from modecheck.draw.shown import LONGEST_TITLE, shown
from modecheck.draw.sketch import Arrow, Sketch, SketchFrame
from modecheck.draw.stylesheet import stylesheet_for
from modecheck.draw.svg_boxes import INSET, ROUND, draw_box
from modecheck.draw.svg_marks import box as outline
from modecheck.draw.svg_marks import curved, element, listed, number, titled

MARGIN = 12.0
"""Around everything, so that a picture can stand beside text."""


def svg_text(sketch: Sketch, places: PicturePlaces) -> str:
    """The picture as SVG text; the same sketch and places always give the same text."""
    return _Picture(sketch, places).text()


class _Picture:
    def __init__(self, sketch: Sketch, places: PicturePlaces) -> None:
        self._sketch = sketch
        self._places = places
        self._depths = _depths(sketch.frames)

    def text(self) -> str:
        picture = self._extent()
        under = below(self._sketch, picture.left, picture.bottom + MARGIN, picture.width)
        right = max(picture.right, picture.left + under.width)
        bottom = picture.bottom + MARGIN + under.height if under.drawn else picture.bottom
        card = Rectangle(picture.left, picture.top, right, bottom).grown(MARGIN)
        parts = [
            outline(card, "ground-0", 4),
            *self._drawn_frames(),
            *self._drawn_arrows(),
            *self._drawn_boxes(),
            under.drawn,
        ]
        return document(card, self._sketch.title, "\n".join(part for part in parts if part))

    def _extent(self) -> Rectangle:
        places = [*self._places.boxes.values(), *self._places.frames.values()]
        places += [around(flattened(line.curve)) for line in self._places.lines.values()]
        return around_all(places)

    def _drawn_frames(self) -> Iterator[str]:
        for frame in self._sketch.frames:
            place = self._places.frames[frame.key]
            fill = f"frame ground-{self._ground(frame.key)}"
            if frame.shape == "diagram":
                drawn = outline(place, fill)
            else:
                drawn = outline(place, fill, ROUND + INSET)
            if frame.shape == "rest":
                drawn += outline(place.grown(-INSET), "frame inner", ROUND)
            kind = "composite unseen" if frame.unseen else "composite"
            kind = f"{kind} {frame.mark}" if frame.mark else kind
            yield titled(drawn, frame.hint, kind, state=frame.state)

    def _ground(self, frame: str) -> int:
        return self._depths[frame] % 2

    def _drawn_arrows(self) -> Iterator[str]:
        """All lines first, so that no line lies on a label."""
        for arrow in self._sketch.arrows:
            yield self._drawn_lines(arrow)
        for arrow in self._sketch.arrows:
            label = arrow.label
            if label:
                ground = f"ground-{self._ground(label.frame)}"
                yield draw_box(label, self._places.boxes[label.key], ground)

    def _drawn_lines(self, arrow: Arrow) -> str:
        lines = (self._places.lines[stretch.key] for stretch in arrow.stretches)
        drawn = "".join(curved(line.curve, line.tip, arrow.tip) for line in lines)
        kind = f"arrow {arrow.stroke} {arrow.mark}".rstrip()
        return titled(drawn, arrow.hint, kind, rules=listed(arrow.rules))

    def _drawn_boxes(self) -> Iterator[str]:
        for box in self._sketch.every_box:
            if box.shape not in ("port", "label"):
                yield draw_box(box, self._places.boxes[box.key])


def document(card: Rectangle, title: str, content: str) -> str:
    """A whole SVG document that shows what is on a card."""
    about = element("title", escape(shown(title, LONGEST_TITLE)))
    style = element("style", stylesheet_for(content))
    view = " ".join(number(part) for part in (card.left, card.top, card.width, card.height))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="img" '
        f'width="{number(card.width)}" height="{number(card.height)}" viewBox="{view}">'
    )
    return f"{head}\n{about}\n{style}\n{content}\n</svg>\n"


def _depths(frames: tuple[SketchFrame, ...]) -> dict[str, int]:
    depths = {"": -1}
    for frame in frames:
        depths[frame.key] = depths[frame.parent] + 1
    return depths
