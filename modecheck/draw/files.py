"""Writes pictures into a folder, each file wholly or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path

from modecheck.draw.gallery import Drawing, render_svg
from modecheck.draw.layout import NoLayout


def write_drawings(
    pictures: Iterable[Drawing],
    folder: str | Path,
    *,
    tell: Callable[[str], None] | None = None,
) -> list[Path]:
    """Writes `NAME.dot` and `NAME.svg` for each picture; returns the files, in that order.

    A picture that cannot be laid out gets no SVG file, and loses one from an earlier run, which
    would show another model: `tell` is called with the reason. A file that cannot be written
    raises OSError, and leaves the one that was there.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    written = []
    for picture in pictures:
        dot, svg = target / f"{picture.name}.dot", target / f"{picture.name}.svg"
        _write(dot, picture.dot)
        written.append(dot)
        try:
            drawn = render_svg(picture)
        except NoLayout as error:
            svg.unlink(missing_ok=True)
            if tell:
                tell(str(error))
        else:
            _write(svg, drawn)
            written.append(svg)
    return written


def _write(path: Path, text: str) -> None:
    """Into a file beside it first, which then takes its place in one step."""
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(text.encode())
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
