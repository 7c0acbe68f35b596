"""The marks of an SVG picture: elements with their attributes, numbers, lines, tips, text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from modecheck.draw.geometry import Curve, Point, Rectangle
from modecheck.draw.lettering import ASCENT, DESCENT, is_measured
from modecheck.draw.shown import LONGEST_TITLE, shown
from modecheck.draw.sketch import TextLine

BEND_RADIUS = 14.0
"""Broken lines are rounded at their bends, so that the eye follows them past crossings."""

TIP_LENGTH = 9.0
TIP_HALF_WIDTH = 3.8


def element(name: str, content: str = "", **attributes: str | float) -> str:
    """An element; `_class`, `text_length` and `data_state` become `class`, `textLength` and
    `data-state`.
    """
    parts = [name]
    for key, value in attributes.items():
        text = number(value) if isinstance(value, int | float) else _quotable(value)
        parts.append(f'{_attribute(key)}="{text}"')
    head = " ".join(parts)
    return f"<{head}>{content}</{name}>" if content else f"<{head}/>"


def _quotable(value: str) -> str:
    return escape(value).replace("\n", "&#10;")


def _attribute(key: str) -> str:
    if key.startswith("data_"):
        return key.replace("_", "-")
    first, *others = key.strip("_").split("_")
    return first + "".join(word.capitalize() for word in others)


def number(value: float) -> str:
    """At most one decimal: a tenth of a unit cannot be seen, and platforms agree on it."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def titled(content: str, hint: str, kind: str, **data: str | int) -> str:
    """A group with a title, which viewers show and screen readers read.

    `data` becomes attributes such as `data-state`; those without a value are left out.
    """
    title = element("title", escape(shown(hint, LONGEST_TITLE))) if hint else ""
    said = {f"data_{key}": value for key, value in data.items() if value != ""}
    return element("g", f"{title}{content}", _class=kind, **said)


def listed(names: Sequence[str]) -> str:
    """Several names in one attribute, one a line."""
    return "\n".join(names)


def box(rectangle: Rectangle, kind: str, radius: float = 0) -> str:
    """A rectangle with rounded corners."""
    place = {
        "x": rectangle.left,
        "y": rectangle.top,
        "width": rectangle.width,
        "height": rectangle.height,
    }
    if radius:
        place["rx"] = radius
    return element("rect", "", _class=kind, **place)


def rounded_path(points: Sequence[Point]) -> str:
    """The path data of a broken line with rounded bends."""
    data = [f"M{_pair(points[0])}"]
    for before, bend, after in zip(points, points[1:], points[2:], strict=False):
        radius = min(BEND_RADIUS, math.dist(before, bend) / 2, math.dist(bend, after) / 2)
        start, end = _towards(bend, before, radius), _towards(bend, after, radius)
        data.append(f"L{_pair(start)}Q{_pair(bend)} {_pair(end)}")
    return "".join([*data, f"L{_pair(points[-1])}"])


def shortened(points: Sequence[Point], length: float) -> tuple[Point, ...]:
    """The broken line without its last bit, so that it does not poke out of its tip."""
    *others, before, last = points
    reach = min(length, math.dist(before, last) * 0.9)
    return (*others, before, _towards(last, before, reach))


def tip_path(points: Sequence[Point], *, is_open: bool = False) -> str:
    """The path data of an arrow's tip at the end of a broken line."""
    before, last = points[-2], points[-1]
    foot = _towards(last, before, TIP_LENGTH)
    across = ((foot[1] - last[1]), (last[0] - foot[0]))
    scale = TIP_HALF_WIDTH / TIP_LENGTH
    one = (foot[0] + across[0] * scale, foot[1] + across[1] * scale)
    two = (foot[0] - across[0] * scale, foot[1] - across[1] * scale)
    return f"M{_pair(one)}L{_pair(last)}L{_pair(two)}{'' if is_open else 'Z'}"


def curved(curve: Curve, tip: Point | None, kind: str) -> str:
    """A curved line; the `kind` of its tip, if it has one, is "arrow" or "open"."""
    data = f"M{_pair(curve[0])}C{' '.join(map(_pair, curve[1:]))}"
    if tip is None:
        return element("path", _class="line", d=data)
    is_open = kind == "open"
    foot = tip if is_open else _towards(tip, curve[-1], TIP_LENGTH - 1)
    line = element("path", _class="line", d=f"{data}L{_pair(foot)}")
    head = tip_path((curve[-1], tip), is_open=is_open)
    return line + element("path", _class="open" if is_open else "tip", d=head)


def text(line: TextLine, left: float, top: float) -> str:
    """One line of text whose box starts at `left` and `top`."""
    size = max(run.size for run in line.runs)
    baseline = top + (line.height - (ASCENT + DESCENT) * size) / 2 + ASCENT * size
    place: dict[str, str | float] = {"x": left + line.indent, "y": baseline}
    if is_measured(line.text):
        width = line.width - line.indent
        place |= {"text_length": width, "length_adjust": "spacingAndGlyphs"}
    if len(line.runs) == 1:
        (run,) = line.runs
        return element("text", escape(run.text, quote=False), _class=run.face, **place)
    runs = (element("tspan", escape(run.text, quote=False), _class=run.face) for run in line.runs)
    return element("text", " ".join(runs), **place)


def _towards(start: Point, goal: Point, reach: float) -> Point:
    length = math.dist(start, goal)
    if length == 0:
        return start
    share = reach / length
    return (start[0] + (goal[0] - start[0]) * share, start[1] + (goal[1] - start[1]) * share)


def _pair(point: Point) -> str:
    return f"{number(point[0])} {number(point[1])}"
