"""An interval of time as a timing diagram: one lane per chip, with its states from left to right,
as SVG 1.1 text. It follows the value lifelines of the timing diagrams of UML 2.5.1.

A shaded column is one moment: the steps in it happen one after the other in zero time. Between two
columns the time written below passes; the distance is not to scale. Marks above a lane show what
the chip does; their numbers are those of the steps in the table below.

Other programs may rely on this: each lane's group bears `data-chip`, each condition `data-chip`
and `data-state`, each mark `data-step`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from modecheck.checks.deciding import changes_anything
from modecheck.draw.geometry import Rectangle
from modecheck.draw.legend import below
from modecheck.draw.sequence_marks import HEXAGON_TIP, condition, event_mark
from modecheck.draw.sequence_rows import set_centred, set_lines
from modecheck.draw.sketch import Box, LegendEntry, Run, Sketch, SketchTable, TextBlock, TextLine
from modecheck.draw.svg_boxes import draw_box
from modecheck.draw.svg_marks import box, element, number, text, titled
from modecheck.draw.svg_text import MARGIN, document
from modecheck.draw.typesetting import text_lines
from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Dropped,
    Happening,
    Struck,
    Took,
)
from modecheck.model.wording import counted
from modecheck.product.ir import Product
from modecheck.scenario.replay import Replayed
from modecheck.scenario.sentences import sentence
from modecheck.scenario.telling import lasting, spelled_or_none
from modecheck.scenario.traces import Trace

MOST_EVENTS = 60
"""Steps in one diagram, the last ones: more make it many pages wide."""
PAD = 7.0
SLOT = 24.0
"""From one step to the next at one moment, at least."""
LEAST_GAP = 34.0
"""Between two moments, at least."""
MARK_ROOM = 16.0
BAND = 20.0
LANE_GAP = 10.0
LONGEST_ABOUT = 90
LONGEST_TOLD = 96

_MEANINGS = {
    "sends": "sends a message",
    "receives": "a message arrives",
    "timer": "its timer has expired",
    "gone": "a message is lost",
    "acts": "does something else",
}


@dataclass(frozen=True, slots=True)
class TimingDiagram:
    """A trace from where its clock starts; `about` is the text about all of it."""

    name: str
    title: str
    about: tuple[str, ...]
    product: Product
    trace: Trace


@dataclass(frozen=True, slots=True)
class DiagramEvent:
    """A step that takes no time: its number, the time since the clock started, its marks by chip,
    and every chip's leaf after it.
    """

    number: int
    time: Fraction
    told: str
    marks: tuple[tuple[int, str], ...]
    leaves: tuple[int, ...]


def timing_svg(diagram: TimingDiagram) -> str:
    """The diagram as SVG text; always the same for the same trace."""
    return _Diagram(diagram).text()


class _Diagram:
    def __init__(self, diagram: TimingDiagram) -> None:
        self._diagram = diagram
        product = diagram.product
        steps = diagram.trace.steps
        begin = max(diagram.trace.switch_from - 1, 0)
        self._first = _leaves(product, steps[begin].before if steps else product.initial)
        events, self._end, idle = _events(product, steps, begin)
        self._left_out = max(len(events) - MOST_EVENTS, 0)
        if self._left_out:
            self._first = events[self._left_out - 1].leaves
        self._events = events[self._left_out :]
        self._chips = self._used_chips()
        names = [TextLine((Run(product.chips[chip].name, "name"),)) for chip in self._chips]
        self._left = max((name.width for name in names), default=0) + 2 * PAD
        self._places, self._right = self._set_events()
        self._tab = Box("tab", "tab", "", (TextBlock((TextLine((Run(diagram.title, "name"),)),)),))
        about = [*diagram.about]
        if idle:
            about.append(f"not shown: {counted(idle, 'step')} without any change, such as polls")
        if self._left_out:
            about.append(f"the first {self._left_out} steps are omitted")
        self._about = [line for one in about for line in text_lines(one, "note", LONGEST_ABOUT)]
        words = sum(line.height for line in self._about)
        self._top = self._tab.height + words + 2 * PAD + 16

    def _used_chips(self) -> list[int]:
        """Those that do something, or are in another state afterwards."""
        used = {chip for event in self._events for chip, _ in event.marks}
        return [chip for chip in range(len(self._diagram.product.chips)) if chip in used]

    def _set_events(self) -> tuple[list[float], float]:
        """Where each event stands: far enough from those before it for the words between."""
        x = self._left
        changed = dict.fromkeys(self._chips, x)
        leaves, time = list(self._first), Fraction(0)
        places: list[float] = []
        for event in self._events:
            lead = SLOT if places else SLOT / 2
            if event.time != time and places:
                lead = SLOT + self._gap_width(event.time - time, event.time)
            x += lead
            for chip in self._chips:
                if event.leaves[chip] != leaves[chip]:
                    x = max(x, changed[chip] + self._width(chip, leaves[chip]))
            for chip in self._chips:
                if event.leaves[chip] != leaves[chip]:
                    changed[chip] = x
            leaves, time = list(event.leaves), event.time
            places.append(round(x, 1))
        last = 0.0
        if self._end != time:
            last = SLOT + self._gap_width(self._end - time, self._end)
        ends = [changed[chip] + self._width(chip, leaves[chip]) for chip in self._chips]
        return places, round(max([x + last + SLOT, *ends]), 1)

    def _gap_width(self, lasts: Fraction, until: Fraction) -> float:
        words = max(spelled_or_none(lasts), spelled_or_none(until), key=len)
        return max(LEAST_GAP, TextLine((Run(words, "trigger"),)).width + 2 * PAD)

    def _width(self, chip: int, leaf: int) -> float:
        return self._name(chip, leaf).width + 2 * HEXAGON_TIP + 6

    def _name(self, chip: int, leaf: int) -> TextLine:
        return TextLine((Run(self._diagram.product.chips[chip].leaves[leaf], "trigger"),))

    def text(self) -> str:
        bottom = self._top + len(self._chips) * (MARK_ROOM + BAND + LANE_GAP)
        frame_bottom = bottom + 40
        widest = max((line.width for line in self._about), default=0)
        right = max(self._right, widest, self._tab.width) + PAD
        frame = Rectangle(-PAD, 0.0, right, frame_bottom)
        legend = Sketch("", "", (), (), (), samples=self._samples(), tables=self._table())
        under = below(legend, frame.left, frame.bottom + MARGIN, frame.width)
        whole = Rectangle(
            frame.left,
            frame.top,
            max(frame.right, frame.left + under.width),
            frame.bottom + MARGIN + under.height,
        )
        card = whole.grown(MARGIN)
        parts = [
            box(card, "ground-0", 4),
            titled(box(frame, "frame ground-0"), "", "diagram"),
            draw_box(
                self._tab, Rectangle(frame.left, 0, frame.left + self._tab.width, self._tab.height)
            ),
            titled(set_lines(self._about, 0, self._tab.height + PAD), "", "words"),
            *self._moments(bottom),
            *self._lanes(),
            *self._numbers(),
            under.drawn,
        ]
        return document(card, self._diagram.title, "\n".join(part for part in parts if part))

    def _columns(self) -> list[tuple[Fraction, float, float]]:
        """The moments, with the left and right border of each."""
        found: list[tuple[Fraction, float, float]] = []
        for event, x in zip(self._events, self._places, strict=True):
            if found and found[-1][0] == event.time:
                found[-1] = (event.time, found[-1][1], x + SLOT / 2)
            else:
                found.append((event.time, x - SLOT / 2, x + SLOT / 2))
        if not found or self._end != found[-1][0]:
            found.append((self._end, self._right - SLOT / 2, self._right))
        return found

    def _moments(self, bottom: float) -> Iterator[str]:
        columns = self._columns()
        top = self._top - 16
        drawn = []
        for _, left, right in columns:
            drawn.append(box(Rectangle(left, top, right, bottom + 4), "edge"))
        axis = bottom + 10
        data = f"M{number(self._left)} {number(axis)}H{number(self._right)}"
        drawn.append(element("path", _class="axis", d=data))
        for time, left, right in columns:
            label = TextLine((Run(spelled_or_none(time), "trigger"),))
            centre = (left + right) / 2
            drawn.append(text(label, centre - label.width / 2, axis + 3))
        for (earlier, _, from_), (later, to, _) in pairwise(columns):
            label = TextLine((Run(f"{spelled_or_none(later - earlier)}", "note"),))
            drawn.append(text(label, (from_ + to) / 2 - label.width / 2, axis - 15))
        yield titled("".join(drawn), "moments", "moments")

    def _lanes(self) -> Iterator[str]:
        y = self._top
        for chip in self._chips:
            form = self._diagram.product.chips[chip]
            name = TextLine((Run(form.name, "name"),))
            band = y + MARK_ROOM
            drawn = text(name, 0, band + (BAND - name.height) / 2)
            drawn += "".join(self._bands(chip, band))
            drawn += "".join(self._marks(chip, y + MARK_ROOM / 2))
            yield titled(
                drawn, f"{'actor' if form.actor else 'chip'} {form.name}", "lane", chip=form.name
            )
            y += MARK_ROOM + BAND + LANE_GAP

    def _bands(self, chip: int, top: float) -> Iterator[str]:
        begin, leaf = self._left, self._first[chip]
        for event, x in zip(self._events, self._places, strict=True):
            if event.leaves[chip] != leaf:
                yield self._band(chip, leaf, Rectangle(begin, top, x, top + BAND))
                begin, leaf = x, event.leaves[chip]
        yield self._band(chip, leaf, Rectangle(begin, top, self._right, top + BAND))

    def _band(self, chip: int, leaf: int, place: Rectangle) -> str:
        form = self._diagram.product.chips[chip]
        drawn = condition(place) + set_centred((self._name(chip, leaf),), place)
        kind = "condition"
        return titled(drawn, form.leaves[leaf], kind, chip=form.name, state=form.leaves[leaf])

    def _marks(self, chip: int, y: float) -> Iterator[str]:
        for event, x in zip(self._events, self._places, strict=True):
            kinds = list(dict.fromkeys(kind for own, kind in event.marks if own == chip))[:2]
            for place, kind in enumerate(kinds):
                at = x + 11 * (place - (len(kinds) - 1) / 2)
                yield titled(event_mark(kind, (at, y)), event.told, "event", step=event.number)

    def _numbers(self) -> Iterator[str]:
        for event, x in zip(self._events, self._places, strict=True):
            name = TextLine((Run(str(event.number), "note"),))
            yield text(name, x - name.width / 2, self._top - 14)

    def _samples(self) -> tuple[LegendEntry, ...]:
        used = {kind for event in self._events for _, kind in event.marks}
        marks = [LegendEntry("box", kind, said) for kind, said in _MEANINGS.items() if kind in used]
        return (
            LegendEntry("box", "condition", "the chip is in this state"),
            LegendEntry("box", "moment", "one moment; distances between moments are not to scale"),
            *marks,
        )

    def _table(self) -> tuple[SketchTable, ...]:
        rows = [
            (str(event.number), spelled_or_none(event.time), event.told) for event in self._events
        ]
        return (
            (SketchTable("step, time, and what happens", tuple(rows), LONGEST_TOLD),)
            if rows
            else ()
        )


def _events(
    product: Product, steps: Sequence[Replayed], begin: int
) -> tuple[list[DiagramEvent], Fraction, int]:
    """The steps that take no time and change anything, from one on, the time at the end, and how
    many change nothing.
    """
    found, time, idle = [], Fraction(0), 0
    for number_, one in enumerate(steps[begin:], start=begin + 1):
        lasts = lasting(product, one.step)
        time += lasts
        if lasts:
            continue
        after = one.step.after
        if number_ > begin + 1 and after and not changes_anything(product, one.before, after):
            idle += 1
            continue
        leaves = _leaves(product, one.before if one.step.after is None else one.step.after)
        marks = tuple(mark for h in one.step.happenings for mark in _marks_of(product, h))
        found.append(DiagramEvent(number_, time, sentence(product, one.step), marks, leaves))
    return found, time, idle


def _leaves(product: Product, state: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(state[chip.state_field] for chip in product.chips)


def _marks_of(product: Product, happening: Happening) -> Iterator[tuple[int, str]]:
    """Which chip gets which mark."""
    if isinstance(happening, Accepted):
        yield product.queues[happening.queue].sender, "sends"
    elif isinstance(happening, Arrived):
        yield product.queues[happening.queue].receiver, "receives"
    elif isinstance(happening, Dropped | Corrupted):
        yield product.queues[happening.queue].receiver, "gone"
    elif isinstance(happening, Took):
        rule = product.rules[happening.rule]
        timed = rule.after is not None or bool(rule.expires)
        if timed:
            yield happening.chip, "timer"
        elif not rule.trigger or happening.heard >= 0:
            yield happening.chip, "acts"
    elif isinstance(happening, Struck):
        yield happening.chip, "acts"
