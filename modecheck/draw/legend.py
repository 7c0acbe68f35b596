"""What is below a picture: its legend, and its tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import zip_longest
from typing import TypeAlias

from modecheck.draw.geometry import Rectangle
from modecheck.draw.lettering import wrapped
from modecheck.draw.palette import STROKES
from modecheck.draw.sequence_marks import (
    action,
    condition,
    event_mark,
    found,
    gone,
    hourglass,
    lane_gap,
)
from modecheck.draw.shown import LONGEST_TEXT, shown
from modecheck.draw.sketch import TEXT_LINE, Box, LegendEntry, Run, Sketch, SketchTable, TextLine
from modecheck.draw.svg_boxes import draw_box
from modecheck.draw.svg_marks import (
    TIP_LENGTH,
    box,
    element,
    number,
    rounded_path,
    shortened,
    text,
    tip_path,
    titled,
)

LEAST_WIDTH = 430.0
"""A legend is no narrower than this, even below a small picture."""

SIGN_WIDTH = 40.0
SIGN_HEIGHT = 18.0
ENTRY_GAP = 18.0
LINE_GAP = 5.0
COLUMN_GAP = 16.0

LEAST_ROWS = 8
"""A shorter table is not worth breaking into stacks."""

_WORDS = {"words": "guard", "remark": "remark"}
"""How entries without a drawn sign are set."""

_Row: TypeAlias = list[list[TextLine]]
"""The lines of each cell."""


@dataclass(frozen=True, slots=True)
class Below:
    """Everything below a picture, drawn, and the size that it takes."""

    drawn: str
    width: float
    height: float


def below(sketch: Sketch, left: float, top: float, width: float) -> Below:
    """The legend and the tables, from `left` and `top` on, the legend in lines of `width`."""
    pen = _Pen(left, top, max(width, LEAST_WIDTH))
    if sketch.samples:
        pen.legend(sketch.samples)
    for table in sketch.tables:
        pen.table(table)
    return Below("".join(pen.drawn), pen.widest, pen.y - top)


class _Pen:
    """Goes down the page line by line."""

    def __init__(self, left: float, top: float, width: float) -> None:
        self._left = left
        self._width = width
        self.y = top
        self.widest = 0.0
        self.drawn: list[str] = []

    def legend(self, samples: tuple[LegendEntry, ...]) -> None:
        x = self._left
        entries = []
        for sample in samples:
            words, entry_width = _entry(sample)
            if x > self._left and x + entry_width > self._left + self._width:
                x = self._left
                self.y += SIGN_HEIGHT + LINE_GAP
            entries.append(_sign(sample, x, self.y))
            beside = 0 if sample.kind in _WORDS else SIGN_WIDTH + 6
            entries.append(text(words, x + beside, self.y + (SIGN_HEIGHT - TEXT_LINE) / 2))
            x += entry_width + ENTRY_GAP
            self.widest = max(self.widest, x - ENTRY_GAP - self._left)
        self.drawn.append(titled("".join(entries), "legend", "legend"))
        self.y += SIGN_HEIGHT + 2 * LINE_GAP

    def table(self, table: SketchTable) -> None:
        """The rows in stacks beside each other, as many as the picture is wide."""
        rows = [
            [_cell(cell, column, table.longest) for column, cell in enumerate(row)]
            for row in table.rows
        ]
        widths = [
            max((line.width for cell in cells if cell for line in cell), default=0)
            for cells in zip_longest(*rows)
        ]
        width = sum(widths) + COLUMN_GAP * len(widths)
        abreast = min(int((self._width + COLUMN_GAP) // width), -(-len(rows) // LEAST_ROWS))
        drawn = [text(TextLine((Run(table.title, "note"),)), self._left, self.y)]
        top = self.y = self.y + TEXT_LINE + 2
        for place, stack in enumerate(_stacks(rows, abreast)):
            y, left = top, self._left + place * width
            for row in stack:
                drawn += _drawn_row(row, widths, left, y)
                y += _row_height(row)
            self.y = max(self.y, y)
            self.widest = max(self.widest, left + width - COLUMN_GAP - self._left)
        self.drawn.append(titled("".join(drawn), table.title, "table"))
        self.y += 2 * LINE_GAP


def _stacks(rows: list[_Row], most: int) -> Iterator[list[_Row]]:
    """The rows in order, in at most so many stacks of about the same height."""
    whole, height = sum(map(_row_height, rows)), 0.0
    stack: list[_Row] = []
    number = 1
    for row in rows:
        if stack and number < most and height + _row_height(row) / 2 > whole * number / most:
            yield stack
            stack, number = [], number + 1
        stack.append(row)
        height += _row_height(row)
    yield stack


def _row_height(row: _Row) -> float:
    return max(len(cell) for cell in row) * TEXT_LINE + 1


def _drawn_row(row: _Row, widths: list[float], left: float, top: float) -> Iterator[str]:
    for cell, width in zip(row, widths, strict=False):
        for position, line in enumerate(cell):
            yield text(line, left, top + position * TEXT_LINE)
        left += width + COLUMN_GAP


def _cell(cell: str, column: int, longest: int) -> list[TextLine]:
    face = "guard" if column else "trigger"
    return [
        TextLine((Run(part, face),)) for part in wrapped(shown(cell, LONGEST_TEXT), longest) if part
    ]


def _entry(sample: LegendEntry) -> tuple[TextLine, float]:
    meaning = Run(sample.meaning, "note")
    if sample.kind in _WORDS:
        line = TextLine((Run(sample.sign, _WORDS[sample.kind]), Run("–", "note"), meaning))
        return line, line.width
    return TextLine((meaning,)), SIGN_WIDTH + 6 + TextLine((meaning,)).width


def _sign(sample: LegendEntry, x: float, y: float) -> str:
    place = Rectangle(x, y, x + SIGN_WIDTH, y + SIGN_HEIGHT)
    if sample.kind == "line":
        return _line_sign(sample.sign, place)
    if sample.kind == "box":
        return _BOX_SIGNS.get(sample.sign, _box_sign)(sample.sign, place)
    return ""


def _line_sign(sign: str, place: Rectangle) -> str:
    middle = place.centre[1]
    points = ((place.left, middle), (place.right, middle))
    stroke = sign if sign in STROKES else "other"
    return titled(line_with_tip(points, _tip_of(stroke)), "", f"arrow {stroke}")


def _tip_of(stroke: str) -> str:
    return {"pairing": "none", "signal": "open"}.get(stroke, "arrow")


def line_with_tip(points: tuple[tuple[float, float], ...], tip: str) -> str:
    """A line with rounded bends, and the tip at its end."""
    if tip == "none":
        return element("path", _class="line", d=rounded_path(points))
    if tip == "open":
        line = element("path", _class="line", d=rounded_path(points))
        return line + element("path", _class="open", d=tip_path(points, is_open=True))
    line = element("path", _class="line", d=rounded_path(shortened(points, TIP_LENGTH - 1)))
    return line + element("path", _class="tip", d=tip_path(points))


def _box_sign(sign: str, place: Rectangle) -> str:
    return draw_box(Box(sign, sign, ""), place.grown(-1))


def _start_sign(sign: str, place: Rectangle) -> str:
    x, y = place.centre
    return draw_box(Box(sign, sign, ""), Rectangle(x - 5.5, y - 5.5, x + 5.5, y + 5.5))


def _choice_sign(sign: str, place: Rectangle) -> str:
    x, y = place.centre
    return draw_box(Box(sign, sign, ""), Rectangle(x - 8, y - 8, x + 8, y + 8))


def _composite_sign(sign: str, place: Rectangle) -> str:
    inner = Rectangle(place.left + 10, place.top + 6, place.right - 10, place.bottom - 4)
    state = draw_box(Box(sign, "state", ""), inner)
    return box(place.grown(-1), "frame ground-1", 6) + state


def _chip_sign(sign: str, place: Rectangle) -> str:
    x, y = place.centre
    return draw_box(Box(sign, sign, ""), Rectangle(x - 13, y - 8, x + 13, y + 8))


def _actor_sign(sign: str, place: Rectangle) -> str:
    x, y = place.centre
    return draw_box(Box(sign, sign, ""), Rectangle(x - 20, y - 14, x + 20, y + 14))


def _hexagon_sign(_: str, place: Rectangle) -> str:
    return titled(condition(place.grown(-2)), "", "condition")


def _action_sign(_: str, place: Rectangle) -> str:
    return titled(action(place.grown(-3)), "", "action")


def _timer_sign(_: str, place: Rectangle) -> str:
    return hourglass(place.centre)


def _gone_sign(_: str, place: Rectangle) -> str:
    x, y = place.centre
    line = line_with_tip(((place.left, y), (x + 8, y)), "none")
    return titled(line, "", "arrow move") + gone((x + 8, y))


def _found_sign(_: str, place: Rectangle) -> str:
    x, y = place.centre
    line = line_with_tip(((x - 8, y), (place.right, y)), "arrow")
    return titled(line, "", "arrow move") + found((x - 12, y))


def _gap_sign(_: str, place: Rectangle) -> str:
    x, y = place.centre
    data = f"M{number(x)} {number(place.top)}V{number(place.bottom)}"
    return titled(element("path", _class="axis", d=data) + lane_gap((x, y)), "", "lane")


def _event_sign(sign: str, place: Rectangle) -> str:
    return event_mark(sign, place.centre)


def _moment_sign(_: str, place: Rectangle) -> str:
    x, _y = place.centre
    return box(Rectangle(x - 9, place.top, x + 9, place.bottom), "edge")


_BOX_SIGNS: dict[str, Callable[[str, Rectangle], str]] = {
    "start": _start_sign,
    "choice": _choice_sign,
    "composite": _composite_sign,
    "chip": _chip_sign,
    "actor": _actor_sign,
    "condition": _hexagon_sign,
    "action": _action_sign,
    "timer": _timer_sign,
    "gone": _gone_sign,
    "found": _found_sign,
    "gap": _gap_sign,
    **dict.fromkeys(("sends", "receives", "acts"), _event_sign),
    "moment": _moment_sign,
}
