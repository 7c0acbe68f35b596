"""Pictures of the old and the new device side by side, with the changes marked in both."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.compare.forms import PartName
from modecheck.compare.text_changes import ADDED, CHANGED, MOVED, REMOVED, RENAMED, Change
from modecheck.draw import Drawing
from modecheck.draw.device_map import device_map
from modecheck.draw.marked import Marks, marked
from modecheck.draw.sketch import Sketch
from modecheck.draw.statechart import statechart
from modecheck.model.parts import Device
from modecheck.report import document_tree as doc
from modecheck.report.page.blocks import PicturePair, ShownPicture
from modecheck.report.page.pictures import Picture, picture_of
from modecheck.review.device_comparison import DeviceComparison

GRAVEST = (MOVED, RENAMED, CHANGED, ADDED, REMOVED)
"""If a part changed in two ways, the later one in this order is marked."""


def change_pictures(comparison: DeviceComparison) -> Iterator[doc.Block]:
    """The map of the device, if something on it changed, then each chip with a change."""
    old, new = comparison.old.explored[0].device, comparison.new.explored[0].device
    happened = _Happened(comparison.text.changes)
    called = [f"old: {comparison.old_origin.name}", f"new: {comparison.new_origin.name}"]
    numbers = [len(comparison.new.explored), 0]
    """Of the variants of the page, which has the new device first."""

    def pair(title: str, pictures: list[Picture]) -> doc.Chapter:
        sides = [
            ShownPicture(replace(one, variants=(number,)), f"{title}, {name}", name)
            for one, number, name in zip(pictures, numbers, called, strict=True)
        ]
        return doc.Chapter(doc.code(title), (PicturePair(*sides),), anchor=f"chip-{title}")

    marks = [happened.on_map(side) for side in (0, 1)]
    if any(marks):
        maps = (_drawn(device_map(one), mark) for one, mark in zip((old, new), marks, strict=True))
        yield pair("chips and links", list(maps))
    for title, before, after in happened.chips(comparison):
        yield pair(title, [_chip(old, before, happened, 0), _chip(new, after, happened, 1)])


def _chip(device: Device, name: str | None, happened: _Happened, side: int) -> Picture:
    if name is None:
        return Picture("", "", "", "there is no such chip on this side", (), ())
    return _drawn(statechart(device.chips[name]), happened.inside(name, side))


def _drawn(sketch: Sketch, marks: Marks) -> Picture:
    return picture_of(Drawing(marked(sketch, marks)))


class _Happened:
    """What happened to each part, by its name on the old side (0) and on the new one (1)."""

    def __init__(self, changes: tuple[Change, ...]) -> None:
        self._by_name: tuple[dict[PartName, str], dict[PartName, str]] = ({}, {})
        for change in sorted(changes, key=lambda one: GRAVEST.index(one.what)):
            for side, name in enumerate((change.old, change.new)):
                if name is not None and not change.wording_only:
                    self._by_name[side][name] = change.what

    def on_map(self, side: int) -> Marks:
        """What is marked on the map: links, and chips that changed or contain changes."""
        parts: dict[str, str] = {}
        for name, what in self._by_name[side].items():
            if name.kind == "chip":
                parts[name.name] = what
            elif name.kind in ("link", "pairing"):
                parts[f"{name.kind}-{name.name}"] = what
            elif name.kind == "message":
                parts.setdefault(f"link-{name.scope}", CHANGED)
            elif name.scope:
                parts.setdefault(name.scope, CHANGED)
        return Marks(parts)

    def inside(self, chip: str, side: int) -> Marks:
        """What is marked in a chip's statechart."""
        own = [(name, what) for name, what in self._by_name[side].items() if name.scope == chip]
        return Marks(
            {name.name: what for name, what in own if name.kind == "state"},
            {name.name: what for name, what in own if name.kind == "rule"},
        )

    def chips(self, comparison: DeviceComparison) -> Iterator[tuple[str, str | None, str | None]]:
        """The chips whose chart would show a change: title, old and new name."""
        back = {new: old for old, new in comparison.text.renaming.items()}
        new = comparison.new.explored[0].device
        for name in new.chips:
            before = back.get(PartName("chip", name))
            old_name = before.name if before is not None else None
            changed = self.inside(name, 1) or (old_name and self.inside(old_name, 0))
            if changed or old_name != name:
                title = name if old_name in (None, name) else f"{old_name} → {name}"
                yield title, old_name, name
        for gone, what in self._by_name[0].items():
            if gone.kind == "chip" and what == REMOVED:
                yield gone.name, gone.name, None
