"""The pictures of every variant, each once, without the style sheet that the page has already."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from modecheck.checks.verdict import Verdict
from modecheck.draw import Drawing, NoLayout, drawings, render_svg


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG picture, or why there is none.

    `variants` are the numbers of those that it shows, `choices` their names. `name` is `device`,
    `modes`, or `chip-` and a chip's name.
    """

    name: str
    title: str
    svg: str
    missing: str
    variants: tuple[int, ...]
    choices: tuple[str, ...]


def pictures_of(verdict: Verdict) -> dict[str, list[Picture]]:
    """By name, in the order of the gallery: one picture where all variants look alike."""
    found: dict[str, dict[str, Picture]] = {}
    for number, one in enumerate(verdict.explored):
        for drawing in drawings(one.device, one.switches):
            alike = found.setdefault(drawing.sketch.name, {})
            known = alike.get(drawing.dot)
            picture = known or _picture(drawing)
            alike[drawing.dot] = replace(
                picture,
                variants=(*picture.variants, number),
                choices=(*picture.choices, one.variant),
            )
    return {name: list(alike.values()) for name, alike in found.items()}


def _picture(drawing: Drawing) -> Picture:
    try:
        svg, missing = render_svg(drawing), ""
    except NoLayout as reason:
        svg, missing = "", str(reason)
    # The page has the whole sheet.
    svg = re.sub(r"<style>.*?</style>\n", "", svg, flags=re.DOTALL)
    return Picture(drawing.sketch.name, drawing.title, svg, missing, (), ())
