"""All pictures of a device, and their two forms."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from modecheck.draw.device_map import device_map
from modecheck.draw.dot_text import dot_text
from modecheck.draw.layout import laid_out
from modecheck.draw.mode_map import ModeSwitch, mode_map
from modecheck.draw.sketch import Sketch
from modecheck.draw.statechart import statechart
from modecheck.draw.svg_text import svg_text
from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture of a device: `device`, `modes`, or `chip-` and a chip's or an actor's name."""

    sketch: Sketch

    @property
    def name(self) -> str:
        """What its files are called, without their endings."""
        return self.sketch.name

    @property
    def title(self) -> str:
        """What it shows, for people."""
        return self.sketch.title

    @property
    def dot(self) -> str:
        """The picture as DOT text, which needs no layout; always the same for the same model."""
        return dot_text(self.sketch)


def drawings(device: Device, switches: Sequence[ModeSwitch]) -> Iterator[Drawing]:
    """The map of the device, the map of its modes if it has any, and every statechart.

    `switches` says what is known of each ordered pair of modes.
    """
    yield Drawing(device_map(device))
    if device.modes:
        yield Drawing(mode_map(device, switches))
    for chip in device.chips.values():
        yield Drawing(statechart(chip))


def render_svg(drawing: Drawing) -> str:
    """The picture as SVG text: the same bytes for the same model, on every platform.

    Raises NoLayout where the picture is too large, or its layout cannot be had.
    """
    sketch = drawing.sketch
    return svg_text(sketch, laid_out(sketch.name, drawing.dot, len(sketch.every_box)))
