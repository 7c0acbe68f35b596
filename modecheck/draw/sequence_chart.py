"""A scenario as a sequence chart in the notation of ITU-T Z.120, as SVG 1.1 text.

There is one lane per chip. A message is an arrow from the lane that sends it to the lane that takes
it; while it waits in between, its line runs down beside the lane that it is for, and a dot ends the
line of a message that is lost. A hexagon names the state that a chip is in from there on, a
rectangle what it does, an hourglass a timer that has expired. A frame marked `loop` surrounds steps
that repeat. Where only time passes, the lanes are broken off.

Other programs may rely on this: the group of each step bears `data-step` with its number, and
its title is the step's sentence; each message's group bears `data-step` and `data-until`, the steps
in which it begins and ends; each condition bears `data-chip` and `data-state`, each lane
`data-chip`. Step 0 is the beginning of the chart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from modecheck.draw.device_map import stroke_of
from modecheck.draw.geometry import Polyline, Rectangle
from modecheck.draw.legend import below, line_with_tip
from modecheck.draw.sequence_layout import (
    END_ROOM,
    HEAD_HEIGHT,
    PAD,
    SequencePlan,
    head_half,
    numbers_of,
    planned,
)
from modecheck.draw.sequence_marks import DOT, found, gone, lane_end
from modecheck.draw.sequence_rows import draw_row, set_centred, set_lines
from modecheck.draw.sketch import Box, LegendEntry, Run, Sketch, TextBlock, TextLine
from modecheck.draw.svg_boxes import draw_box
from modecheck.draw.svg_marks import box, element, number, text, titled
from modecheck.draw.svg_text import MARGIN, document
from modecheck.draw.typesetting import text_lines
from modecheck.scenario.sequence import Journey, Row, ScenarioSequence

LONGEST_ABOUT = 90
"""Characters of a line of text about the whole chart."""

BAR_HALF = 16.0
"""Half the width of the bar at the end of a lane."""

_SIGNS = {
    "state": LegendEntry("box", "condition", "from here on the chip is in this state"),
    "action": LegendEntry("box", "action", "what it does, and what changes"),
    "timeout": LegendEntry("box", "timer", "its timer has expired"),
    "signal": LegendEntry("line", "signal", "signal: heard in the same step"),
    "join": LegendEntry("line", "signal", "a newer message merges with the waiting one"),
    "gone": LegendEntry("box", "gone", "the message does not arrive"),
    "unsent": LegendEntry("box", "gone", "the message does not arrive"),
    "time": LegendEntry("box", "gap", "only time passes here"),
    "found": LegendEntry("box", "found", "sent before the chart begins"),
}
"""What each kind of row adds to the legend."""


@dataclass(frozen=True, slots=True)
class SequenceChart:
    """A chart of a scenario: the name of its file, its title, and a text about it."""

    name: str
    title: str
    about: tuple[str, ...]
    scenario: ScenarioSequence


def sequence_svg(chart: SequenceChart) -> str:
    """The chart as SVG text; always the same for the same scenario."""
    return _Chart(chart).text()


class _Chart:
    def __init__(self, chart: SequenceChart) -> None:
        self._chart = chart
        self._scenario = chart.scenario
        self._product = chart.scenario.product
        self._tab = _tab(f"msc {chart.title}", "name")
        self._about = [
            line for part in chart.about for line in text_lines(part, "note", LONGEST_ABOUT)
        ]
        words = sum(line.height for line in self._about)
        self._plan: SequencePlan = planned(chart.scenario, self._tab.height + words + 3 * PAD)
        self._bands = {band.number: band for band in self._plan.bands}

    def text(self) -> str:
        frame = self._frame()
        legend = Sketch("", "", (), (), (), samples=tuple(self._samples()))
        under = below(legend, frame.left, frame.bottom + MARGIN, frame.width)
        right = max(frame.right, frame.left + under.width)
        bottom = frame.bottom + MARGIN + under.height
        card = Rectangle(frame.left, frame.top, right, bottom).grown(MARGIN)
        corner = Rectangle(frame.left, 0, frame.left + self._tab.width, self._tab.height)
        parts = [
            box(card, "ground-0", 4),
            titled(box(frame, "frame ground-0"), "", "diagram"),
            draw_box(self._tab, corner),
            titled(set_lines(self._about, 0, self._tab.height + PAD), "", "words"),
            *self._lanes(),
            *self._cuts(),
            *self._loop(),
            *self._messages(),
            *self._steps(),
            under.drawn,
        ]
        return document(card, self._chart.title, "\n".join(part for part in parts if part))

    def _frame(self) -> Rectangle:
        widest = max((line.width for line in self._about), default=0)
        right = max(self._plan.right, widest, self._tab.width) + PAD
        return Rectangle(-PAD, 0.0, right, self._plan.bottom + END_ROOM)

    def _samples(self) -> Iterator[LegendEntry]:
        kinds = {band.row.kind for band in self._plan.bands}
        if any(journey.sender < 0 for journey in self._scenario.journeys):
            kinds.add("found")
        media = {self._medium(journey) for journey in self._scenario.journeys}
        for stroke, meaning in _MEDIA.items():
            if stroke in media:
                yield LegendEntry("line", stroke, meaning)
        yield from dict.fromkeys(sign for kind, sign in _SIGNS.items() if kind in kinds)

    def _medium(self, journey: Journey) -> str:
        return stroke_of(self._product.device.links[self._product.queues[journey.queue].name])

    def _lanes(self) -> Iterator[str]:
        """All axes below everything else, and the heads on them."""
        for chip, x in self._plan.axes.items():
            form = self._product.chips[chip]
            top, bottom = self._plan.heads[0], self._plan.bottom
            axis = f"M{number(x)} {number(top + HEAD_HEIGHT)}V{number(bottom)}"
            drawn = element("path", _class="axis", d=axis) + lane_end(x, bottom, BAR_HALF)
            drawn += "".join(self._head(chip, x, top) for top in self._plan.heads)
            kind = "actor" if form.actor else "chip"
            yield titled(drawn, f"{kind} {form.name}", "lane", chip=form.name)

    def _head(self, chip: int, x: float, top: float) -> str:
        form = self._product.chips[chip]
        half = head_half(form)
        place = Rectangle(x - half, top, x + half, top + HEAD_HEIGHT)
        drawn = box(place, "outline", HEAD_HEIGHT / 2 if form.actor else 2)
        drawn += set_centred((TextLine((Run(form.name, "name"),)),), place)
        return titled(drawn, "", "player" if form.actor else "head")

    def _cuts(self) -> Iterator[str]:
        """A thin line between two steps."""
        left, right = number(self._plan.left), number(self._plan.right)
        data = "".join(f"M{left} {number(y)}H{right}" for y in self._plan.cuts)
        if data:
            yield element("path", _class="cut", d=data)

    def _loop(self) -> Iterator[str]:
        if self._plan.loop is not None:
            place = self._plan.loop
            tab = _tab("loop <1, inf>", "trigger")
            corner = Rectangle(
                place.left, place.top, place.left + tab.width, place.top + tab.height
            )
            drawn = box(place, "frame inner") + draw_box(tab, corner)
            yield titled(drawn, "these steps repeat forever", "loop")

    def _messages(self) -> Iterator[str]:
        for place, journey in enumerate(self._scenario.journeys):
            link = self._product.queues[journey.queue].name
            yield titled(
                self._message(place, journey),
                f"{journey.text} over {link}",
                f"arrow {self._medium(journey)}",
                step=self._scenario.rows[journey.first].step,
                until=self._scenario.rows[journey.last].step,
            )

    def _message(self, place: int, journey: Journey) -> str:
        """From the sender's lane across, down in its channel, and across to the receiver's lane."""
        x, last = self._plan.channels[place], self._bands[journey.last]
        begin = self._begin(x, journey)
        if last.row.kind == "arrive":
            end = self._plan.axes[journey.receiver]
            way = _without_repeats((*begin, (x, last.line_y), (end, last.line_y)))
            drawn = line_with_tip(way, "arrow")
        else:
            drawn = line_with_tip(_without_repeats((*begin, (x, last.line_y))), "none")
            drawn += gone((x, last.line_y)) if last.row.kind == "gone" else ""
        return drawn + (found(begin[0]) if journey.sender < 0 else "")

    def _begin(self, x: float, journey: Journey) -> Polyline:
        if journey.parent >= 0:
            y = self._bands[journey.first].line_y
            return ((self._plan.channels[journey.parent], y), (x, y))
        if journey.sender < 0:
            return ((x, self._plan.heads[0] + HEAD_HEIGHT + DOT + 2),)
        y = self._bands[journey.first].line_y
        return ((self._plan.axes[journey.sender], y), (x, y))

    def _steps(self) -> Iterator[str]:
        steps = dict.fromkeys(band.row.step for band in self._plan.bands)
        for step in steps:
            bands = [band for band in self._plan.bands if band.row.step == step]
            drawn = [draw_row(self._product, self._plan, band) for band in bands]
            hint = "how it begins"
            if step:
                name = TextLine((Run(numbers_of(bands[0].row), "name"),))
                drawn.insert(0, text(name, self._plan.left + PAD, bands[0].top))
                hint = self._hint(bands[0].row)
            yield titled("".join(drawn), hint, "step", step=step)

    def _hint(self, row: Row) -> str:
        """The sentence of a step, or how much time passes in several."""
        if row.until > row.step:
            return f"{row.words[0]} pass"
        return self._scenario.sentences[row.step - self._scenario.begin - 1]


_MEDIA = {
    "internal": "message over an internal link",
    "cable": "message by cable",
    "radio": "message by radio",
    "bluetooth": "message by Bluetooth",
    "other": "message by another medium",
}


def _tab(words: str, face: str) -> Box:
    return Box("tab", "tab", "", (TextBlock((TextLine((Run(words, face),)),)),))


def _without_repeats(way: Polyline) -> Polyline:
    kept = (way[0], *(after for before, after in pairwise(way) if after != before))
    return kept if len(kept) > 1 else (way[0], (way[0][0], way[0][1] + 1))
