"""The places in a sequence chart: lanes from left to right, rows from top to bottom.

Beside each lane, outside its own boxes, there are channels in which messages wait for the lane, so
that no line passes over text. The distance of two lanes is what the widest row between them needs.
All of it follows from the text alone.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from modecheck.draw.geometry import Rectangle
from modecheck.draw.sequence_marks import DOT, HEXAGON_TIP, HOURGLASS_WIDTH
from modecheck.draw.shown import shown
from modecheck.draw.sketch import NAME_LINE, Run, TextLine
from modecheck.draw.typesetting import balanced_lines, text_lines
from modecheck.product.ir import ChipIR
from modecheck.scenario.sequence import Journey, Row, ScenarioSequence

LONGEST_WORDS = 24
"""Characters of a line in a lane or beside it: narrow, since lanes stand side by side."""

LONGEST_NOTICE = 90
"""Characters of a line over all lanes."""

LONGEST_PHRASE = 120
"""Characters of one piece of text: five lines. Titles hold all of it."""

CHANNEL = 11.0
"""From one channel to the next, and from the lane's room to the first."""

PAD = 7.0
"""Between words and lines."""

ROW_GAP = 5.0
STEP_GAP = 9.0

END_ROOM = 16.0
"""Below the last row: the bars at the ends of the lanes."""

HEAD_HEIGHT = 24.0
HEADS_AGAIN = 620.0
"""The lanes' heads are repeated after this height, so that every page shows them."""

MARGIN_WIDTH = 34.0
"""The least width of the column of step numbers at the left."""

LEAST_HALF = 34.0
"""The least room that a lane takes to each side."""

TIMER_REACH = 20.0
"""From a lane to the hourglass beside it."""

LINE_ROOM = 7.0
"""Below the words of an arrow: its line, and half of its tip."""

LANE_WORDS = {"action", "state", "timeout", "arrive", "gone", "waits", "double", "corrupt"}
"""Kinds of rows whose words stand in the room of a lane."""

SIDE_WORDS = {"send", "join", "signal", "unsent"}
"""Kinds of rows whose words stand beside the lane of the sender, over the arrow."""


@dataclass(frozen=True, slots=True)
class Band:
    """The height of a row: its words, and from where to where it reaches.

    `number` is the row's in the scenario. An arrow leaves or reaches its lane at a `side` (-1 for
    the left), and words beside the lane begin at a distance of `reach` from it.
    """

    number: int
    row: Row
    lines: tuple[TextLine, ...]
    top: float
    bottom: float
    side: int = 0
    reach: float = 0.0

    @property
    def words_width(self) -> float:
        return max((line.width for line in self.lines), default=0)

    @property
    def line_y(self) -> float:
        """Where the row's arrow runs, below its words."""
        return self.bottom - LINE_ROOM / 2


@dataclass(frozen=True, slots=True)
class SequencePlan:
    """The lanes' axes and half widths by the number of their chip, and where each row stands.

    `heads` are the upper borders of rows of heads, `cuts` the lines between two steps, `channels`
    the x of each journey. `loop` is the frame around what repeats.
    """

    axes: dict[int, float]
    halves: dict[int, float]
    bands: tuple[Band, ...]
    channels: dict[int, float]
    heads: tuple[float, ...]
    cuts: tuple[float, ...]
    left: float
    right: float
    bottom: float
    loop: Rectangle | None


def planned(sequence: ScenarioSequence, top: float) -> SequencePlan:
    """The plan of a chart whose lanes begin at a height."""
    return _Planner(sequence, top).plan()


class _Planner:
    def __init__(self, sequence: ScenarioSequence, top: float) -> None:
        self._sequence = sequence
        self._lanes = {chip: lane for lane, chip in enumerate(sequence.chips)}
        self._rows = [
            row for row in sequence.rows if row.kind != "state" or row.chip in self._lanes
        ]
        self._shift = len(sequence.rows) - len(self._rows)
        self._words = [_words_of(sequence, row) for row in self._rows]
        self._halves = self._half_widths()
        self._channel = self._channels()
        self._top = top
        self._loop_top: float | None = None

    def plan(self) -> SequencePlan:
        bands, heads, cuts, bottom = self._bands()
        left = max(self._margin(), MARGIN_WIDTH)
        axes = self._axes(left)
        right = self._right_of(axes)
        return SequencePlan(
            axes=axes,
            halves=self._halves,
            bands=tuple(bands),
            channels=self._channel_places(axes),
            heads=tuple(heads),
            cuts=tuple(cuts),
            left=0.0,
            right=max(right, self._notice_width()),
            bottom=bottom,
            loop=self._loop(right, bottom),
        )

    def _half_widths(self) -> dict[int, float]:
        """What each lane's own boxes and words need to either side."""
        halves = {}
        for chip in self._sequence.chips:
            halves[chip] = max(LEAST_HALF, head_half(self._sequence.product.chips[chip]))
        for row, words in zip(self._rows, self._words, strict=True):
            if row.kind in LANE_WORDS:
                need = _lane_need(row, max((line.width for line in words), default=0))
                halves[row.chip] = max(halves[row.chip], need)
        return {chip: round(half, 1) for chip, half in halves.items()}

    def _side(self, journey: Journey) -> int:
        """-1 for a message that comes from the left, 1 from the right."""
        if journey.sender < 0:
            return -1
        return -1 if self._lanes[journey.sender] < self._lanes[journey.receiver] else 1

    def _channels(self) -> dict[int, tuple[int, int]]:
        """For each journey the side of its receiver and the channel there, the nearest free one."""
        taken: dict[tuple[int, int, int], int] = {}
        found: dict[int, tuple[int, int]] = {}
        for number, journey in enumerate(self._sequence.journeys):
            side, channel = self._side(journey), 0
            while taken.get((journey.receiver, side, channel), -1) >= journey.first:
                channel += 1
            taken[journey.receiver, side, channel] = journey.last
            found[number] = (side, channel)
        return found

    def _depth(self, chip: int, side: int) -> float:
        """How far the channels at a side of a lane reach beyond its room."""
        used = [
            channel + 1
            for number, (own, channel) in self._channel.items()
            if own == side and self._sequence.journeys[number].receiver == chip
        ]
        return CHANNEL * max(used, default=0)

    def _bands(self) -> tuple[list[Band], list[float], list[float], float]:
        bands, heads, cuts = [], [self._top], []
        y = self._top + HEAD_HEIGHT + ROW_GAP
        step, start = 0, y
        for number, (row, words) in enumerate(zip(self._rows, self._words, strict=True)):
            if row.step != step:
                step = row.step
                y += STEP_GAP / 2
                cuts.append(y)
                y += STEP_GAP / 2
                if step == self._loop_begins():
                    self._loop_top = y
                    y += NAME_LINE + STEP_GAP
                if y - heads[-1] > HEADS_AGAIN:
                    heads.append(y)
                    y += HEAD_HEIGHT + ROW_GAP
                start = y
            height = _height(row, words)
            if row.step == 0 and row.kind == "state":
                # Where every chip begins stands in one row.
                bands.append(Band(number + self._shift, row, words, start, start + height))
                y = max(y, start + height + ROW_GAP)
                continue
            side = self._side_of(row)
            reach = self._occupied(row.chip, side, number) if row.kind in SIDE_WORDS else 0.0
            bands.append(Band(number + self._shift, row, words, y, y + height, side, reach))
            y += height + ROW_GAP
        return bands, heads, cuts, y + STEP_GAP

    def _margin(self) -> float:
        modes = [
            max(line.width for line in words) + 2 * PAD
            for row, words in zip(self._rows, self._words, strict=True)
            if row.kind in ("mode", "time")
        ]
        numbers = [
            TextLine((Run(numbers_of(row), "name"),)).width + 2 * PAD
            for row in self._rows
            if row.kind == "time"
        ]
        return max([*modes, *numbers], default=0)

    def _notice_width(self) -> float:
        widths = [
            max(line.width for line in words) + 4 * PAD
            for row, words in zip(self._rows, self._words, strict=True)
            if row.kind in ("fail", "nothing") and words
        ]
        return max(self._margin(), MARGIN_WIDTH) + max(widths, default=0)

    def _axes(self, left: float) -> dict[int, float]:
        axes: dict[int, float] = {}
        x = left
        beside = self._beside()
        before = -1
        for chip in self._sequence.chips:
            room = self._halves[chip] + self._depth(chip, -1) + PAD
            if before >= 0:
                room += self._halves[before] + self._depth(before, 1)
            x += max(room, beside.get((before, chip), 0))
            axes[chip] = round(x, 1)
            before = chip
        return axes

    def _beside(self) -> dict[tuple[int, int], float]:
        """What words beside lanes ask of the distance between two neighbours."""
        needs: dict[tuple[int, int], float] = defaultdict(float)
        for number, (row, words) in enumerate(zip(self._rows, self._words, strict=True)):
            if row.kind not in SIDE_WORDS or not words:
                continue
            side = self._side_of(row)
            width = max(line.width for line in words) + 2 * PAD
            chip = row.chip
            pair = self._neighbours(chip, side)
            near = self._occupied(chip, side, number)
            far = self._occupied(pair[1] if side > 0 else pair[0], -side, number)
            needs[pair] = max(needs[pair], near + width + far)
        return needs

    def _side_of(self, row: Row) -> int:
        """At which side of the row's lane its arrow leaves, or arrives; 0 without an arrow."""
        if row.other >= 0:
            return 1 if self._lanes[row.other] > self._lanes[row.chip] else -1
        if row.journey < 0:
            return 0
        side = self._side(self._sequence.journeys[row.journey])
        return -side if row.kind in ("send", "join") else side

    def _neighbours(self, chip: int, side: int) -> tuple[int, int]:
        chips = self._sequence.chips
        lane = self._lanes[chip]
        if side > 0:
            return (chip, chips[lane + 1] if lane + 1 < len(chips) else -1)
        return (chips[lane - 1] if lane else -1, chip)

    def _occupied(self, chip: int, side: int, row: int) -> float:
        """How much room waiting messages take at a side of a lane in a row, the lane's included."""
        if chip < 0:
            return 0.0
        row += self._shift
        busy = any(
            own == side and journey.receiver == chip and journey.first <= row <= journey.last
            for number, (own, _) in self._channel.items()
            for journey in (self._sequence.journeys[number],)
        )
        return self._halves[chip] + self._depth(chip, side) if busy else 0.0

    def _channel_places(self, axes: dict[int, float]) -> dict[int, float]:
        places = {}
        for number, (side, channel) in self._channel.items():
            chip = self._sequence.journeys[number].receiver
            reach = self._halves[chip] + CHANNEL * (channel + 0.5)
            places[number] = round(axes[chip] + side * reach, 1)
        return places

    def _right_of(self, axes: dict[int, float]) -> float:
        if not axes:
            return self._notice_width()
        last = self._sequence.chips[-1]
        own = self._halves[last] + self._depth(last, 1) + PAD
        return axes[last] + max(own, self._beside().get((last, -1), 0))

    def _loop_begins(self) -> int:
        """The number of the first step that repeats, or -1."""
        loop_from = self._sequence.loop_from
        return -1 if loop_from is None else max(loop_from, self._sequence.begin) + 1

    def _loop(self, right: float, bottom: float) -> Rectangle | None:
        if self._loop_top is None:
            return None
        return Rectangle(0.0, self._loop_top, right, bottom - STEP_GAP / 2)


def head_half(chip: ChipIR) -> float:
    """Half the width of a lane's head."""
    return TextLine((Run(chip.name, "name"),)).width / 2 + (16 if chip.actor else 12)


def _lane_need(row: Row, width: float) -> float:
    """Half of a box on the lane, or words at one side of it."""
    if row.kind == "action":
        return width / 2 + PAD
    if row.kind == "state":
        return width / 2 + HEXAGON_TIP + 3
    if row.kind == "timeout":
        return TIMER_REACH + HOURGLASS_WIDTH / 2 + width + PAD
    return width + 2 * PAD + (DOT if row.kind == "gone" else 0)


def numbers_of(row: Row) -> str:
    """The number of a row's step, or those of the first and the last."""
    return f"{row.step}-{row.until}" if row.until > row.step else str(row.step)


def _words_of(sequence: ScenarioSequence, row: Row) -> tuple[TextLine, ...]:
    """The lines of a row's words."""
    if row.kind in ("fail", "nothing"):
        face = "trigger" if row.kind == "fail" else "note"
        return text_lines(" ".join(row.words), face, LONGEST_NOTICE)
    if row.kind == "mode":
        name = Run(row.words[0] if row.words else "no mode", "trigger")
        return (TextLine((Run("mode", "note"), name) if row.words else (name,)),)
    if row.kind == "time":
        lasts, *since = row.words
        passing = "passes" if lasts.startswith("1 ") else "pass"
        first = TextLine((Run(lasts, "trigger"), Run(passing, "note")))
        return (first, *(TextLine((Run(f"at {moment}", "note"),)) for moment in since))
    if row.kind in ("send", "join"):
        more = (
            text_lines("merges with the waiting one", "note", LONGEST_WORDS)
            if row.kind == "join"
            else ()
        )
        message = shown(row.words[0], LONGEST_PHRASE)
        return (*text_lines(message, "trigger", LONGEST_WORDS), *more)
    face = {"state": "trigger", "signal": "guard", "timeout": "guard"}.get(row.kind, "effect")
    words = {
        "waits": ("still waits",),
        "double": (*row.words, "twice"),
        "corrupt": (*row.words, "is corrupted"),
        "arrive": _said_on_arrival(sequence, row),
    }.get(row.kind, row.words)
    return tuple(
        line
        for word in words
        for line in balanced_lines(shown(word, LONGEST_PHRASE), face, LONGEST_WORDS)
    )


def _said_on_arrival(sequence: ScenarioSequence, row: Row) -> tuple[str, ...]:
    """A message is named again when it has waited while other steps were taken."""
    if row.kind != "arrive":
        return ()
    sent = sequence.rows[sequence.journeys[row.journey].first]
    waited = sequence.journeys[row.journey].sender < 0 or sent.step + 1 < row.step
    return row.words if waited else row.words[1:]


def _height(row: Row, words: tuple[TextLine, ...]) -> float:
    height = sum(line.height for line in words)
    if row.kind in ("action", "fail", "nothing"):
        return height + 6
    if row.kind == "state":
        return height + 5
    if row.kind == "mode":
        return height
    if row.kind == "time":
        return NAME_LINE + height  # below the numbers of its steps
    return height + LINE_ROOM
