"""The pictures of all variants, each once, without the style sheet that the page has already."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.traffic import traffic_of
from modecheck.draw import Drawing, NoLayout, drawings, render_svg
from modecheck.draw.gallery import coverage_drawings, traffic_drawings


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG picture, or why there is none.

    `variants` are the numbers of the variants that it shows, `choices` their names. `name` is
    that of the drawing: `device`, `modes`, `device-in-MODE`, `chip-CHIP` or `coverage-CHIP`.
    """

    name: str
    title: str
    svg: str
    missing: str
    variants: tuple[int, ...]
    choices: tuple[str, ...]


def pictures_of(verdict: Verdict) -> dict[str, list[Picture]]:
    """By name, in the order of the gallery; variants that look alike share one picture."""
    found: dict[str, dict[str, Picture]] = {}
    for number, one in enumerate(verdict.explored):
        for drawing in _drawings(one):
            alike = found.setdefault(drawing.sketch.name, {})
            known = alike.get(drawing.dot)
            picture = known or _picture(drawing)
            alike[drawing.dot] = replace(
                picture,
                variants=(*picture.variants, number),
                choices=(*picture.choices, one.variant),
            )
    return {name: list(alike.values()) for name, alike in found.items()}


def _drawings(one: Explored) -> Iterator[Drawing]:
    space = one.exploration
    yield from drawings(one.device, one.switches)
    yield from traffic_drawings(one.device, traffic_of(space))
    yield from coverage_drawings(one.device, one.coverage, complete=space.complete)


def _picture(drawing: Drawing) -> Picture:
    try:
        svg, missing = render_svg(drawing), ""
    except NoLayout as reason:
        svg, missing = "", str(reason)
    # The page has the style sheet already.
    svg = re.sub(r"<style>.*?</style>\n", "", svg, flags=re.DOTALL)
    return Picture(drawing.sketch.name, drawing.title, svg, missing, (), ())
