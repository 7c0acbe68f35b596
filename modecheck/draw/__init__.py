"""Pictures: statecharts, maps of a device and its modes, folded products, sequence charts."""

from __future__ import annotations

from modecheck.draw.files import write_drawings
from modecheck.draw.gallery import (
    AnyDrawing,
    Drawing,
    ScenarioDrawing,
    drawings,
    every_drawing,
    render_svg,
)
from modecheck.draw.layout import NoLayout
from modecheck.draw.mode_map import ModeSwitch

__all__ = [
    "AnyDrawing",
    "Drawing",
    "ModeSwitch",
    "NoLayout",
    "ScenarioDrawing",
    "drawings",
    "every_drawing",
    "render_svg",
    "write_drawings",
]
