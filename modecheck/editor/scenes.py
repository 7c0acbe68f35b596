"""What names mean in one text: its device, and the chips that the text describes.

A scene is made of the texts as they are, half written or not. It is kept until one of them changes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from modecheck.editor.device_names import ChipNames, DeviceNames, names_of
from modecheck.editor.mending import mended
from modecheck.editor.real_paths import real_path
from modecheck.editor.slots import ModelSlot
from modecheck.editor.workspace import Workspace, kind_of_file
from modecheck.model.phrases import BRACED
from modecheck.model.text_files import HeldTexts, instead_of_files

MOST_KEPT = 100
"""Scenes that are kept; an editor asks about the one or two files that it shows."""


@dataclass(frozen=True, slots=True)
class Scene:
    """The text of a file with the names of its device. `kind` is that of the file, "device" or
    "chip"; `held` are the texts, mended; `mentioned` is filled by `mentions.py`.
    """

    path: str
    kind: str
    names: DeviceNames
    held: HeldTexts
    mentioned: dict[str, list[Any]] = field(default_factory=dict, compare=False)

    def chips_at(self, slot: ModelSlot) -> list[ChipNames]:
        """The chips that a slot describes: that of the entry, or all with this file."""
        name = slot.within.get("chip")
        if name is not None:
            chip = self.names.chip_called(name)
            return [chip] if chip is not None else []
        if self.kind != "chip":
            return []
        return self.names.described_in(real_path(self.path))


@dataclass(slots=True)
class Scenes:
    """Makes scenes, and keeps the last ones."""

    _mended: dict[str, tuple[str, str]] = field(default_factory=dict)
    _kept: dict[tuple[str, str], tuple[dict[str, str], Scene]] = field(default_factory=dict)

    def of(self, workspace: Workspace, path: str, device: str | None = None) -> Scene:
        """The scene of a text, in the nearest device that it belongs to, or in this one."""
        devices = [device] if device is not None else workspace.devices_of(path)
        home = devices[0] if devices else path
        texts = {real: buffer.text for real, buffer in workspace.buffers.items()}
        key = real_path(path), real_path(home)
        if key in self._kept and self._kept[key][0] == texts:
            return self._kept[key][1]
        held = HeldTexts(
            {real: self._mend(real, text) for real, text in texts.items()},
            workspace.held().trees,
        )
        with instead_of_files(held):
            names = names_of(home)
        kind = kind_of_file(workspace.text_of(path) or "")
        scene = Scene(path, kind or ("device" if not devices else "chip"), names, held)
        while len(self._kept) >= MOST_KEPT:
            del self._kept[next(iter(self._kept))]
        self._kept[key] = texts, scene
        return scene

    def forget(self) -> None:
        """Files may have changed that are not open."""
        self._kept.clear()

    def _mend(self, real: str, text: str) -> str:
        known = self._mended.get(real)
        if known is None or known[0] != text:
            known = self._mended[real] = text, mended(text)
        return known[1]


def written_forms(per_chip: list[tuple[ChipNames, set[str]]]) -> list[str]:
    """How a name can be written in a text that describes several chips: as it is, if all of them
    know it, and with a parameter in braces, `{side}_air`, where that means a known name in each.
    """
    if not per_chip:
        return []
    common = set.intersection(*(names for _, names in per_chip))
    first, names = per_chip[0]
    forms = set(common)
    for parameter, value in first.parameters.items():
        if len(value) < 2:
            continue
        for name in names:
            form = name.replace(value, f"{{{parameter}}}")
            if form != name and all(fill(form, chip) in known for chip, known in per_chip):
                forms.add(parameter if form == f"{{{parameter}}}" else form)
    return sorted(forms, key=lambda form: ("{" not in form, form))


def fill(text: str, chip: ChipNames) -> str:
    """A text with the parameters in braces filled in."""
    return BRACED.sub(lambda match: chip.parameters.get(match[1], match[0]), text)
