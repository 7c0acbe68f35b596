"""The style sheet inside every SVG picture.

Every selector starts with `.drawing`, so that a picture can be embedded in a page without affecting
the rest of it. Dark colours are for screens only: paper stays light.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from itertools import groupby

from modecheck.draw.lettering import FAMILY
from modecheck.draw.palette import (
    BORDER,
    FACES,
    FILLS,
    FRAME_LINE,
    INK,
    LINE,
    STROKES,
    Colour,
    ground,
)
from modecheck.draw.sketch import NAME_SIZE, TEXT_SIZE


def stylesheet() -> str:
    """The whole sheet, for every picture."""
    return _sheet(lambda _: True)


def stylesheet_for(drawn: str) -> str:
    """The part of the sheet that a picture needs, by the classes in its SVG text."""
    classes = {name for found in CLASSES.findall(drawn) for name in found.split()} | {"drawing"}
    return _sheet(lambda selector: classes.issuperset(NAMES.findall(selector)))


CLASSES = re.compile(r'class="([^"]*)"')
NAMES = re.compile(r"\.([\w-]+)")


def _sheet(needs: Callable[[str], bool]) -> str:
    shape = "".join(_rules("", _shapes(), needs))
    light = "".join(_rules(".drawing ", _colours(dark=False), needs))
    dark = "".join(_rules(".drawing ", _colours(dark=True), needs))
    return f"\n{shape}{light}@media screen and (prefers-color-scheme:dark){{\n{dark}}}\n"


def _rules(
    scope: str, rules: Iterable[tuple[str, str]], needs: Callable[[str], bool]
) -> Iterator[str]:
    """The rules that are needed; neighbours that declare the same are one."""
    for declarations, some in groupby(rules, key=lambda rule: rule[1]):
        selectors = (one for each, _ in some for one in each.split(","))
        kept = ",".join(f"{scope}{one}" for one in selectors if needs(one))
        if kept:
            yield f"{kept}{{{declarations}}}\n"


def _shapes() -> Iterator[tuple[str, str]]:
    yield (
        ".drawing text",
        f"font-family:{FAMILY};font-size:{TEXT_SIZE}px;font-kerning:none",
    )
    yield ".drawing .name", f"font-weight:bold;font-size:{NAME_SIZE}px"
    yield ".drawing .trigger", "font-weight:bold"
    yield ".drawing .remark", "font-style:italic"
    yield ".drawing .outline", "stroke-width:1.4"
    yield ".drawing .frame,.drawing .inner,.drawing .edge", "stroke-width:1"
    yield ".drawing .inner", "fill:none"
    yield ".drawing .rule", "stroke-width:.8"
    yield ".drawing .pins", "stroke-width:2.4"
    yield ".drawing .figure", "stroke-width:1.4;fill:none;stroke-linecap:round"
    yield ".drawing .card", "fill-opacity:.92;stroke-width:.6;stroke-opacity:.5"
    yield ".drawing .axis,.drawing .cut", "fill:none;stroke-width:1"
    yield ".drawing .cut", "stroke-width:.6;stroke-dasharray:1,3"
    yield ".drawing .ring", "fill:none;stroke-width:1.4"
    yield ".drawing .unseen .outline,.drawing .unseen .frame", "stroke-dasharray:3,3"
    yield ".drawing .notice .outline", "stroke-width:2.4"
    yield ".drawing .line", "fill:none;stroke-linejoin:round"
    yield ".drawing .open", "fill:none;stroke-width:1"
    for name, stroke in STROKES.items():
        dashes = ",".join(f"{dash:g}" for dash in stroke.dashes)
        dashed = f";stroke-dasharray:{dashes}" if dashes else ""
        cap = ";stroke-linecap:round" if stroke.dashes[:1] == (0.1,) else ""
        yield f".drawing .{name} .line", f"stroke-width:{stroke.width:g}{dashed}{cap}"


def _colours(*, dark: bool) -> Iterator[tuple[str, str]]:
    def tone(colour: Colour) -> str:
        return colour.dark if dark else colour.light

    for depth in (0, 1):
        yield f".ground-{depth}", f"fill:{tone(ground(depth))}"
    for face, colour in FACES.items():
        yield f".{face}", f"fill:{tone(colour)}"
    for shape, colour in FILLS.items():
        yield f".{shape} .outline", f"fill:{tone(colour)}"
    yield ".outline,.inner,.rule,.figure,.pins,.ring", f"stroke:{tone(BORDER)}"
    yield ".frame,.edge,.card,.axis,.cut", f"stroke:{tone(FRAME_LINE)}"
    yield ".edge", f"fill:{tone(ground(1))}"
    yield ".start", f"fill:{tone(INK)}"
    yield ".line,.open", f"stroke:{tone(LINE)}"
    yield ".tip", f"fill:{tone(LINE)}"
