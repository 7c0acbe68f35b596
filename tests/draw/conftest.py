"""The devices that are drawn: one made for these tests, and every bundled one."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TypeAlias

import pytest

from modecheck.draw import Drawing, drawings, render_svg
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.draw.reading_svg import Picture

HERE = Path(__file__).parent
BUNDLED = HERE.parents[1] / "models"

Pictured: TypeAlias = Callable[[str], Picture]


@pytest.fixture(scope="session")
def stage() -> Device:
    """An invented device whose hub has 12 states and 35 rules."""
    return read_device(str(HERE / "models" / "stage.yaml"))


@pytest.fixture(scope="session")
def stage_drawings(stage: Device) -> dict[str, Drawing]:
    """Its drawings by name."""
    return {drawing.name: drawing for drawing in drawings(stage, [])}


@pytest.fixture(scope="session")
def stage_picture(stage_drawings: dict[str, Drawing]) -> Pictured:
    """One of its pictures, read back from SVG."""

    @cache
    def picture(name: str) -> Picture:
        return Picture(render_svg(stage_drawings[name]))

    return picture


@pytest.fixture(scope="session")
def every_drawing(stage_drawings: dict[str, Drawing]) -> list[Drawing]:
    """The drawings of that device, and those of bundled ones that differ in kind."""
    bundled = [BUNDLED / "tandem" / "device.yaml"]
    names = ("usb_device_states", "dekker", "bluetooth_link_layer", "cube_2x2x2", "components")
    bundled += [BUNDLED / "published" / f"{name}.yaml" for name in names]
    found = list(stage_drawings.values())
    for path in bundled:
        found += drawings(read_device(str(path)), [])
    return found


@pytest.fixture(scope="session")
def every_picture(every_drawing: list[Drawing]) -> list[tuple[str, Picture]]:
    """All of them, read back from SVG."""
    return [(drawing.title, Picture(render_svg(drawing))) for drawing in every_drawing]
