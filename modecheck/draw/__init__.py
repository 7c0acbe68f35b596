"""Pictures: statecharts, maps of a device and its modes, folded products, sequence charts."""

from __future__ import annotations

from modecheck.draw.gallery import (
    AnyDrawing,
    Drawing,
    ScenarioDrawing,
    drawings,
    every_drawing,
    render_svg,
)
from modecheck.draw.layout import NoLayout
from modecheck.draw.mode_map import SwitchArrow
from modecheck.draw.picture_files import write_drawings

__all__ = [
    "AnyDrawing",
    "Drawing",
    "NoLayout",
    "ScenarioDrawing",
    "SwitchArrow",
    "drawings",
    "every_drawing",
    "render_svg",
    "write_drawings",
]
