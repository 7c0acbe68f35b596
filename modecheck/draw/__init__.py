"""Pictures: statecharts of chips, the map of a device, the map of its modes; as DOT and as SVG."""

from __future__ import annotations

from modecheck.draw.files import write_drawings
from modecheck.draw.gallery import Drawing, drawings, render_svg
from modecheck.draw.layout import NoLayout
from modecheck.draw.mode_map import ModeSwitch

__all__ = ["Drawing", "ModeSwitch", "NoLayout", "drawings", "render_svg", "write_drawings"]
