"""The pictures of many devices in one folder, with pages that a code host shows among its files.

Each device has a folder of its own with a README.md that shows its pictures; the README.md above
them lists the devices. A picture that an earlier device already has, byte for byte, is not
written again: the page shows that one. So the folder of a variant holds only what differs.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from modecheck.draw.gallery import AnyDrawing
from modecheck.draw.picture_files import FileText, rendered
from modecheck.draw.shown import LONGEST_TITLE, shown

PAGE = "README.md"
NOTE = "Drawn by `modecheck draw`; do not edit. `--check` reports stale pictures."


@dataclass(slots=True)
class Album:
    """A device's page: its folder below the common one, its model, and what it shows.

    `pictures` are titles and paths below the common folder.
    """

    folder: str
    model: str
    device: str
    about: str
    findings: int
    pictures: list[tuple[str, str]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Hung:
    """A picture's title and its files; the last one is the drawing."""

    title: str
    files: tuple[FileText, ...]


def hung(
    pictures: Iterable[AnyDrawing], *, tell: Callable[[str], None] | None = None
) -> Iterator[Hung]:
    """Each picture with its files; `tell` is called with the reason if one cannot be drawn."""
    for picture in pictures:
        yield Hung(picture.title, tuple(rendered([picture], tell=tell)))


class Shelf:
    """Gathers the files of device after device; a picture that is already there is not repeated."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._known: dict[str, str] = {}
        self._albums: list[Album] = []

    def files(self, album: Album, pictures: Iterable[Hung]) -> Iterator[FileText]:
        """The files of one device: those of its new pictures, and its page."""
        self._albums.append(album)
        for picture in pictures:
            yield from self._picture(album, picture)
        yield FileText(f"{album.folder}/{PAGE}", self._page(album))

    def _picture(self, album: Album, picture: Hung) -> Iterator[FileText]:
        files = picture.files
        drawn = files[-1].text
        if drawn is None:
            yield from (FileText(f"{album.folder}/{file.name}", file.text) for file in files)
            return
        own = f"{album.folder}/{files[-1].name}"
        known = self._known.setdefault(drawn, own)
        album.pictures.append((picture.title, known))
        if known == own:
            yield from (FileText(f"{album.folder}/{file.name}", file.text) for file in files)

    def _page(self, album: Album) -> str:
        model = os.path.relpath(album.model, self._folder / album.folder)
        lines = [
            f"# {_plain(album.device)}",
            "",
            *([f"{_plain(album.about)}", ""] if album.about else []),
            f"The model: [{_plain(album.model)}]({_address(model)}). {NOTE}",
        ]
        for title, path in album.pictures:
            beside = os.path.relpath(path, album.folder)
            lines += ["", f"## {_plain(title)}", "", f"![{_plain(title)}]({_address(beside)})"]
        return "\n".join(lines) + "\n"

    def index(self) -> FileText:
        """The page above all devices."""
        lines = [
            "# Diagrams of the models",
            "",
            NOTE,
            "",
            "| device | pictures | findings | what it is |",
            "| --- | --- | --- | --- |",
        ]
        for album in self._albums:
            link = f"[{_plain(album.folder)}]({_address(album.folder)}/{PAGE})"
            about = _plain(album.about or album.device)
            lines.append(f"| {link} | {len(album.pictures)} | {album.findings} | {about} |")
        return FileText(PAGE, "\n".join(lines) + "\n")


def folders_for(models: Sequence[str]) -> list[str]:
    """A folder for each model, named after its path below the common prefix of all paths.

    `models/tandem/device.yaml` goes into `tandem`, `models/small/credits.yaml` in `small/credits`.
    """
    paths = [Path(os.path.abspath(model)) for model in models]
    places = [path.parent if path.name == "device.yaml" else path.with_suffix("") for path in paths]
    common = os.path.commonpath([place.parent for place in places])
    return [place.relative_to(common).as_posix() for place in places]


def _plain(text: str) -> str:
    """A text in one line that means nothing in Markdown or HTML."""
    words = escape(" ".join(shown(text, LONGEST_TITLE).split()), quote=False)
    return "".join(f"\\{letter}" if letter in "\\`*_[]|#!" else letter for letter in words)


def _address(path: str) -> str:
    return Path(path).as_posix().replace(" ", "%20")
