"""Draws what happens in one row of a sequence chart, at its lane and beside it."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.draw.geometry import Rectangle
from modecheck.draw.legend import line_with_tip
from modecheck.draw.sequence_layout import PAD, TIMER_REACH, Band, SequencePlan
from modecheck.draw.sequence_marks import (
    DOT,
    HEXAGON_TIP,
    HOURGLASS_WIDTH,
    action,
    condition,
    gone,
    hourglass,
    lane_gap,
)
from modecheck.draw.sketch import NAME_LINE, TextLine
from modecheck.draw.svg_marks import box, text, titled
from modecheck.product.ir import Product


def set_lines(lines: Sequence[TextLine], left: float, top: float) -> str:
    """Lines of text below each other."""
    drawn = []
    for line in lines:
        drawn.append(text(line, left, top))
        top += line.height
    return "".join(drawn)


def set_centred(lines: Sequence[TextLine], place: Rectangle) -> str:
    """Lines of text in the middle of a rectangle."""
    top = place.centre[1] - sum(line.height for line in lines) / 2
    drawn = []
    for line in lines:
        drawn.append(text(line, place.centre[0] - line.width / 2, top))
        top += line.height
    return "".join(drawn)


def draw_row(product: Product, plan: SequencePlan, band: Band) -> str:
    """Everything in a row except the line of its message."""
    kind = band.row.kind
    if kind == "state":
        return _state(product, plan, band)
    if kind == "action":
        half = band.words_width / 2 + PAD
        place = _around_lane(plan, band, half)
        return titled(action(place) + set_centred(band.lines, place), "", "action")
    if kind == "timeout":
        return _timeout(plan, band)
    if kind in ("signal", "join", "unsent", "send"):
        return _beside(plan, band)
    if kind == "time":
        words = set_lines(band.lines, plan.left + PAD, band.top + NAME_LINE)
        y = (band.top + band.bottom) / 2
        return words + "".join(lane_gap((x, y)) for x in plan.axes.values())
    if kind == "mode":
        return set_lines(band.lines, plan.left + PAD, band.top)
    if kind in ("fail", "nothing"):
        return _notice(plan, band)
    return _at_lane(plan, band)


def _around_lane(plan: SequencePlan, band: Band, half: float) -> Rectangle:
    x = plan.axes[band.row.chip]
    return Rectangle(x - half, band.top, x + half, band.bottom)


def _state(product: Product, plan: SequencePlan, band: Band) -> str:
    place = _around_lane(plan, band, band.words_width / 2 + HEXAGON_TIP + 3)
    drawn = condition(place) + set_centred(band.lines, place)
    chip = product.chips[band.row.chip].name
    return titled(drawn, "", "condition", chip=chip, state=band.row.words[0])


def _timeout(plan: SequencePlan, band: Band) -> str:
    x, y = plan.axes[band.row.chip], band.line_y - 2
    glass = x - TIMER_REACH
    start = glass + HOURGLASS_WIDTH / 2
    arrow = titled(line_with_tip(((start, y), (x, y)), "arrow"), "", "arrow move")
    left = glass - HOURGLASS_WIDTH / 2 - PAD / 2 - band.words_width
    words = set_lines(band.lines, left, band.top)
    return titled(hourglass((glass, y)) + words, "", "timer") + arrow


def _beside(plan: SequencePlan, band: Band) -> str:
    """Words over an arrow that leaves the lane; the line, unless its message draws it."""
    x, y = plan.axes[band.row.chip], band.line_y
    near = x + band.side * (band.reach + PAD)
    left = near if band.side > 0 else near - band.words_width
    drawn = set_lines(band.lines, left, band.top)
    if band.row.kind == "signal":
        way = ((x, y), (plan.axes[band.row.other], y))
        return drawn + titled(line_with_tip(way, "open"), "", "arrow signal")
    if band.row.kind == "join":
        way = ((x, y), (plan.channels[band.row.journey], y))
        return drawn + titled(line_with_tip(way, "open"), "", "arrow signal")
    if band.row.kind == "unsent":
        end = near + band.side * (band.words_width + PAD - DOT)
        line = titled(line_with_tip(((x, y), (end, y)), "none"), "", "arrow move")
        return drawn + line + gone((end, y))
    return drawn


def _at_lane(plan: SequencePlan, band: Band) -> str:
    """Words in the room of a lane: behind its axis for what arrives, else before it."""
    x = plan.axes[band.row.chip]
    side = -band.side if band.row.kind == "arrive" else band.side
    left = x + PAD if side > 0 else x - PAD - band.words_width
    return set_lines(band.lines, left, band.top)


def _notice(plan: SequencePlan, band: Band) -> str:
    left = min(plan.axes.values(), default=plan.left + 40) - 20
    right = max(plan.right - PAD, left + band.words_width + 2 * PAD)
    place = Rectangle(left, band.top, right, band.bottom)
    drawn = box(place, "outline") + set_lines(band.lines, left + PAD, band.top + 3)
    return titled(drawn, "", "notice" if band.row.kind == "fail" else "action")
