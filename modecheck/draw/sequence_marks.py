"""The signs of a sequence chart, after ITU-T Z.120: conditions, actions, timers, lost messages."""

from __future__ import annotations

from modecheck.draw.geometry import Point, Rectangle
from modecheck.draw.svg_marks import box, element, number

HEXAGON_TIP = 9.0
"""How far the tips of a condition reach out beside its words."""

HOURGLASS_WIDTH = 9.0
HOURGLASS_HEIGHT = 12.0

DOT = 4.5
"""The radius of the dot at the end of a message that is gone, of the ring where one is found."""

GAP_HALF = 8.0
"""Half the width of the strokes at which a lane is broken off."""

END_HEIGHT = 6.0
"""The bar at the end of a lane."""


def condition(place: Rectangle) -> str:
    """A hexagon on a lane: what holds there from now on."""
    y = place.centre[1]
    near, far = place.left + HEXAGON_TIP, place.right - HEXAGON_TIP
    corners = (
        (place.left, y),
        (near, place.top),
        (far, place.top),
        (place.right, y),
        (far, place.bottom),
        (near, place.bottom),
    )
    data = "L".join(f"{number(x)} {number(y)}" for x, y in corners)
    return element("path", _class="outline", d=f"M{data}Z")


def action(place: Rectangle) -> str:
    """A rectangle on a lane: what the chip does."""
    return box(place, "outline")


def hourglass(centre: Point) -> str:
    """A timer."""
    x, y = centre
    wide, high = HOURGLASS_WIDTH / 2, HOURGLASS_HEIGHT / 2
    left, right = number(x - wide), number(x + wide)
    data = f"M{left} {number(y - high)}H{right}L{left} {number(y + high)}H{right}Z"
    return element("path", _class="figure", d=data)


def lane_gap(centre: Point) -> str:
    """A lane that is broken off and goes on: only time passes in between."""
    x, y = centre
    hidden = box(Rectangle(x - GAP_HALF + 2, y - 3, x + GAP_HALF - 2, y + 3), "ground-0")
    data = "".join(
        f"M{number(x - GAP_HALF)} {number(at + 2)}L{number(x + GAP_HALF)} {number(at - 2)}"
        for at in (y - 3, y + 3)
    )
    return hidden + element("path", _class="axis", d=data)


def event_mark(kind: str, centre: Point) -> str:
    """An event in a timing diagram: a triangle that points up ("sends") or down ("receives"), a
    ring for whatever else a chip does ("acts"), an hourglass ("timer"), a filled dot ("gone").
    """
    if kind == "timer":
        return hourglass(centre)
    if kind == "gone":
        return gone(centre)
    if kind == "acts":
        return found(centre)
    x, y = centre
    tip, foot = (y - 5, y + 4) if kind == "sends" else (y + 5, y - 4)
    data = f"M{number(x)} {number(tip)}L{number(x - 5)} {number(foot)}H{number(x + 5)}Z"
    return element("path", _class="tip" if kind == "receives" else "figure", d=data)


def gone(centre: Point) -> str:
    """The end of a message that does not arrive: a filled dot."""
    return element("circle", _class="start", cx=centre[0], cy=centre[1], r=DOT)


def found(centre: Point) -> str:
    """The beginning of a message that was sent before the chart begins: a ring."""
    return element("circle", _class="ring", cx=centre[0], cy=centre[1], r=DOT)


def lane_end(x: float, y: float, half: float) -> str:
    """The bar at the end of a lane: here the chart ends, not the chip."""
    return box(Rectangle(x - half, y, x + half, y + END_HEIGHT), "start")
