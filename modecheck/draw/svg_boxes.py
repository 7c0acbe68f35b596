"""Draws each kind of box: its outline, its signs and its words."""

from __future__ import annotations

from collections.abc import Callable

from modecheck.draw.geometry import Rectangle
from modecheck.draw.sketch import SHAPES, Box, TextBlock
from modecheck.draw.svg_marks import box as outline
from modecheck.draw.svg_marks import element, listed, number, text, titled

ROUND = 9.0
"""The radius of a state's corners."""

INSET = 3.0
"""Between the two outlines of a state of rest."""

ACTOR_CORNER = 22.0
"""The radius of the corners of an actor's box."""

TAB_CUT = 7.0
"""The corner that is cut off a tab."""

FIGURE_ROOM = 16.0
"""The width of an actor's stick figure, beside the words."""

PIN_LENGTH = 5.0
PIN_PITCH = 11.0
"""A chip's pins."""


def draw_box(box: Box, place: Rectangle, ground: str = "") -> str:
    """A box in its place; `ground` is the class of what is behind a label."""
    if box.shape == "label":
        drawn = outline(place, f"card {ground}", 3)
    elif box.shape in _OUTLINES:
        drawn = _OUTLINES[box.shape](place)
    else:
        drawn = ""
    marks = {"state": box.state, "rules": listed(box.rules)}
    kind = f"{box.shape} unseen" if box.unseen else box.shape
    kind = f"{kind} {box.mark}" if box.mark else kind
    return titled(drawn + _words(box, place), box.hint, kind, **marks)


def _words(box: Box, place: Rectangle) -> str:
    shape = SHAPES[box.shape]
    gaps = shape.between * max(len(box.blocks) - 1, 0)
    top = place.top + (place.height - sum(block.height for block in box.blocks) - gaps) / 2
    drawn = []
    for position, block in enumerate(box.blocks):
        if position and box.shape in ("state", "rest"):
            drawn.append(_rule(box, place, top - shape.between / 2))
        drawn.append(_block(block, place, shape.beside, top))
        top += block.height + shape.between
    return "".join(drawn)


def _rule(box: Box, place: Rectangle, y: float) -> str:
    """The line between two compartments of a state."""
    inset = INSET if box.shape == "rest" else 0
    data = f"M{number(place.left + inset)} {number(y)}H{number(place.right - inset)}"
    return element("path", _class="rule", d=data)


def _block(block: TextBlock, place: Rectangle, beside: float, top: float) -> str:
    drawn = []
    for line in block.lines:
        left = place.centre[0] - line.width / 2 if block.centred else place.left + beside
        drawn.append(text(line, left, top))
        top += line.height
    return "".join(drawn)


def _state(place: Rectangle) -> str:
    return outline(place, "outline", ROUND)


def _rest(place: Rectangle) -> str:
    inner = outline(place.grown(-INSET), "inner", ROUND - INSET)
    return outline(place, "outline", ROUND) + inner


def _chip(place: Rectangle) -> str:
    """A rectangle with pins inside its sides, where no arrow crosses them."""
    pins = max(int((place.height - PIN_PITCH) // PIN_PITCH), 1)
    first = place.centre[1] - (pins - 1) * PIN_PITCH / 2
    data = []
    for pin in range(pins):
        y = number(first + pin * PIN_PITCH)
        data.append(f"M{number(place.left)} {y}h{number(PIN_LENGTH)}")
        data.append(f"M{number(place.right)} {y}h{number(-PIN_LENGTH)}")
    return outline(place, "outline", 2) + element("path", _class="pins", d="".join(data))


def _actor(place: Rectangle) -> str:
    """A capsule with a stick figure, the actor's sign in UML 2.5.1 (section 18.1.4)."""
    x, y = place.left + FIGURE_ROOM / 2 + 5, place.centre[1]
    head = element("circle", _class="figure", cx=x, cy=y - 8.5, r=3.5)
    lines = (
        f"M{number(x)} {number(y - 5)}v8.5M{number(x - 6)} {number(y - 1.5)}h12"
        f"M{number(x - 5)} {number(y + 12)}l5 -8.5l5 8.5"
    )
    body = element("path", _class="figure", d=lines)
    return outline(place, "outline", min(place.height / 2, ACTOR_CORNER)) + head + body


def _tab(place: Rectangle) -> str:
    """The tab of a diagram's frame (UML 2.5.1, annex A): a rectangle with a corner cut off."""
    data = (
        f"M{number(place.left)} {number(place.top)}H{number(place.right)}"
        f"v{number(place.height - TAB_CUT)}l{number(-TAB_CUT)} {number(TAB_CUT)}"
        f"H{number(place.left)}Z"
    )
    return element("path", _class="edge", d=data)


def _choice(place: Rectangle) -> str:
    """A choice is a diamond (UML 2.5.1, section 14.2.4)."""
    (x, _), half = place.centre, number(place.width / 2)
    data = f"M{number(x)} {number(place.top)}l{half} {half}l-{half} {half}l-{half} -{half}Z"
    return element("path", _class="outline", d=data)


def _start(place: Rectangle) -> str:
    x, y = place.centre
    return element("circle", _class="start", cx=x, cy=y, r=place.width / 2)


_OUTLINES: dict[str, Callable[[Rectangle], str]] = {
    "state": _state,
    "mode": _state,
    "rest": _rest,
    "chip": _chip,
    "actor": _actor,
    "tab": _tab,
    "start": _start,
    "choice": _choice,
}
