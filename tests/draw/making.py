"""Makes small devices for tests from a few lines of YAML."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

from modecheck.draw import render_svg
from modecheck.draw.gallery import Drawing
from modecheck.draw.statechart import statechart
from modecheck.model.devices import read_device
from modecheck.model.parts import Chip, Device
from tests.draw.reading_svg import Picture


def device_of(folder: Path, text: str) -> Device:
    """A device read from text."""
    path = folder / "device.yaml"
    path.write_text(dedent(text), encoding="utf-8")
    return read_device(str(path))


def chip_of(folder: Path, text: str, hears: tuple[str, ...] = ()) -> Chip:
    """A chip, given as its body, in a device where somebody gives all the signals it hears."""
    body = "".join(f"    {line}\n" for line in dedent(text).strip().splitlines())
    rules = ", ".join(f"{{signal: {signal}}}" for signal in hears)
    somebody = f"actors:\n  somebody: {{states: [there], rules: [{rules}]}}\n" if hears else ""
    return device_of(folder, f"device: test\nchips:\n  hub:\n{body}{somebody}").chips["hub"]


def picture_of(chip: Chip) -> Picture:
    """A chip's statechart, read back from SVG."""
    return Picture(render_svg(Drawing(statechart(chip))))
