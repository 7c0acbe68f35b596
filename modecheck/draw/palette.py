"""Colours and strokes, once for paper and light screens, once for dark ones.

No meaning depends on colour: every kind of box has its own outline, every kind of line its own
dashes or tip, and the legend shows them. Text has a contrast of at least 4.5 to 1 on what lies
behind it (WCAG 2.2, success criterion 1.4.3), which the tests compute.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Colour:
    """One colour of the palette on a light and on a dark background."""

    light: str
    dark: str


PAPER = Colour("#ffffff", "#14191f")
SHADE = Colour("#f3f6f8", "#1d242c")
INK = Colour("#16222e", "#edf1f5")
SOFT_INK = Colour("#46566a", "#b4c1cf")
LINE = Colour("#44596e", "#9db0c3")
BORDER = Colour("#27405a", "#b7c8d9")
FRAME_LINE = Colour("#76899b", "#66798f")
STATE_FILL = Colour("#e6eff6", "#26384a")
ACTOR_FILL = Colour("#f7f0e1", "#383020")

FACES = {
    "name": INK,
    "trigger": INK,
    "guard": INK,
    "effect": SOFT_INK,
    "note": SOFT_INK,
    "remark": SOFT_INK,
}
"""The colour of each kind of text."""

FILLS = {
    "state": STATE_FILL,
    "rest": STATE_FILL,
    "mode": STATE_FILL,
    "choice": PAPER,
    "chip": STATE_FILL,
    "actor": ACTOR_FILL,
    "head": STATE_FILL,
    "player": ACTOR_FILL,
    "condition": STATE_FILL,
    "action": PAPER,
    "notice": SHADE,
}
"""What fills each kind of box that has an outline."""


def ground(depth: int) -> Colour:
    """What fills a frame that stands in `depth` others: paper and shade in turn."""
    return SHADE if depth % 2 else PAPER


@dataclass(frozen=True, slots=True)
class Stroke:
    """A kind of line: its width, its dashes in units (none: solid), and its DOT style."""

    width: float
    dashes: tuple[float, ...] = ()
    dot_style: str = "solid"


STROKES = {
    "move": Stroke(1.2),
    "internal": Stroke(1.2),
    "cable": Stroke(3.2),
    "radio": Stroke(1.6, (8, 4), "dashed"),
    "bluetooth": Stroke(1.6, (10, 3, 2, 3), "dashed"),
    "other": Stroke(1.6, (3, 3), "dashed"),
    "pairing": Stroke(2.2, (0.1, 5.5), "dotted"),
    "signal": Stroke(0.8),
    "switch": Stroke(1.4),
    "idle": Stroke(0.9, (1.5, 4), "dotted"),
    "certain": Stroke(1.8),
    "possible": Stroke(1.1, (5, 3), "dashed"),
    "never": Stroke(1.1, (2, 3), "dashed"),
}
