"""Devices to compare: the starter, copied and edited."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from modecheck.model.devices import read_device
from modecheck.model.parts import Device

MODELS = Path(__file__).parents[2] / "models"
Edits = tuple[tuple[str, str], ...]
"""Patterns that are replaced in all files of a copy."""


def edited(folder: Path, edits: Edits, model: str = "starter") -> Path:
    """A copy of a bundled device with each pattern replaced everywhere; each stands somewhere."""
    shutil.copytree(MODELS / model, folder)
    for pattern, by in edits:
        found = 0
        for path in folder.rglob("*.yaml"):
            text, count = re.subn(pattern, by, path.read_text(encoding="utf-8"))
            path.write_text(text, encoding="utf-8")
            found += count
        assert found, pattern
    return folder / "device.yaml"


def read_edited(folder: Path, edits: Edits) -> Device:
    """The same, read."""
    return read_device(str(edited(folder, edits)))


def starter() -> Device:
    """The device as it is bundled."""
    return read_device(str(MODELS / "starter" / "device.yaml"))
