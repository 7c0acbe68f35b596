"""The pictures of all variants, each once, without the style sheet that the page has already."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.traffic import traffic_of
from modecheck.draw import Drawing, NoLayout, drawings, render_svg
from modecheck.draw.gallery import coverage_drawings, traffic_drawings
from modecheck.draw.sequence_chart import SequenceChart, sequence_svg
from modecheck.scenario.sequence import sequence_of
from modecheck.scenario.traces import Trace

MOST_CHARTED = 100
"""Steps in one sequence chart, the last ones."""

MOST_CHARTS = 1_000_000
"""Bytes of all sequence charts of a page, which must open within a second."""


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
            picture = known or picture_of(drawing)
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


def picture_of(drawing: Drawing) -> Picture:
    """The picture, or why it cannot be drawn, for no variant yet."""
    try:
        svg, missing = render_svg(drawing), ""
    except NoLayout as reason:
        svg, missing = "", str(reason)
    return Picture(drawing.sketch.name, drawing.title, without_style(svg), missing, (), ())


def without_style(svg: str) -> str:
    """A picture for a page, which has the style sheet already."""
    return re.sub(r"<style>.*?</style>\n", "", svg, flags=re.DOTALL)


@dataclass(slots=True)
class ChartsOfPage:
    """Draws sequence charts, until a page has as much of them as it can hold."""

    drawn: int = field(default=0, init=False)

    def of(self, title: str, trace: Trace) -> str:
        """The chart of a trace as SVG, or nothing where there is no more room."""
        if self.drawn > MOST_CHARTS:
            return ""
        scenario = sequence_of(trace, most=MOST_CHARTED)
        svg = without_style(sequence_svg(SequenceChart("", title, (), scenario)))
        self.drawn += len(svg)
        return svg
