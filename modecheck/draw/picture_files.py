"""Writes pictures into a folder, each file completely or not at all, or reports which are stale."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from modecheck.draw.gallery import AnyDrawing, render_svg
from modecheck.draw.layout import NoLayout

KINDS = ("device", "modes", "chip-", "coverage-", "fold-", "scenario-", "switch-")
"""How names of pictures begin."""


@dataclass(frozen=True, slots=True)
class FileText:
    """A file by its name, and its contents; None for one that must not be there."""

    name: str
    text: str | None


def rendered(
    pictures: Iterable[AnyDrawing], *, tell: Callable[[str], None] | None = None
) -> Iterator[FileText]:
    """`NAME.dot` (except for sequence charts) and `NAME.svg` of each picture.

    A picture that cannot be laid out must have no SVG file, since one from an earlier run would
    show another model: `tell` is called with the reason.
    """
    for picture in pictures:
        if picture.dot:
            yield FileText(f"{picture.name}.dot", picture.dot)
        try:
            drawn = render_svg(picture)
        except NoLayout as error:
            yield FileText(f"{picture.name}.svg", None)
            if tell:
                tell(str(error))
        else:
            yield FileText(f"{picture.name}.svg", drawn)


def write_drawings(
    pictures: Iterable[AnyDrawing],
    folder: str | Path,
    *,
    tell: Callable[[str], None] | None = None,
) -> list[Path]:
    """Writes the files of each picture, and returns them in that order.

    A file that cannot be written raises OSError, and leaves the one that was there.
    """
    return write_files(rendered(pictures, tell=tell), Path(folder))


def outdated(files: Iterable[FileText], folder: Path) -> Iterator[FileText]:
    """The files that writing would change."""
    for file in files:
        path = folder / file.name
        known = path.read_text(encoding="utf-8") if path.is_file() else None
        if known != file.text:
            yield file


def write_files(files: Iterable[FileText], folder: Path) -> list[Path]:
    """Writes files, each via a temporary file beside it; removes those that must not be there."""
    written = []
    for file in files:
        path = folder / file.name
        path.parent.mkdir(parents=True, exist_ok=True)
        if file.text is None:
            path.unlink(missing_ok=True)
        else:
            _write(path, file.text)
            written.append(path)
    return written


def stale_files(files: Iterable[FileText], folder: Path) -> list[str]:
    """What would change if the files were written, in words: a path and what is wrong with it.

    Pictures by modecheck in or below the folder that are no longer wanted are named, too.
    """
    asked = []
    stale = []
    for file in files:
        path = folder / file.name
        asked.append(path)
        if file.text is None:
            if path.exists():
                stale.append(f"{path}: can no longer be drawn")
        elif not path.exists():
            stale.append(f"{path}: missing")
        elif path.read_bytes() != file.text.encode():
            stale.append(f"{path}: out of date")
    left_over = sorted(set(_pictures_below(folder)) - set(asked))
    return stale + [f"{path}: no longer part of the pictures" for path in left_over]


def _pictures_below(folder: Path) -> Iterator[Path]:
    for ending in ("svg", "dot"):
        for path in folder.rglob(f"*.{ending}"):
            if path.name.startswith(KINDS):
                yield path


def _write(path: Path, text: str) -> None:
    """Into a file beside it first, which then takes its place in one step."""
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(text.encode())
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
