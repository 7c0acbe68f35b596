"""The files that an editor shows: texts that are open lie over the files of their names.

An address (a URI) is what the editor calls a text; within modecheck it is the path of a file, or
the address itself where it is no file.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import chain
from urllib.parse import quote, urlsplit
from urllib.request import url2pathname

from modecheck.editor.positions import UTF_16, TextMap
from modecheck.editor.real_paths import real_path
from modecheck.model.text_files import MOST_BYTES, HeldTexts

ENDINGS = (".yaml", ".yml")
MOST_PARSED = 2_000_000
"""Characters of parsed texts that are remembered, at some 40 bytes each: every edit leaves a text
behind, and a session of a day thousands.
"""

FOLDERS_ABOVE = 3
"""How far above a chip's file its device is looked for."""

MOST_BESIDE = 400
"""Files of one folder that are looked at to find a device."""

MOST_UNDER = 3000
"""Files of a whole folder of the editor that are looked at."""

NOT_SEARCHED = ("node_modules", "site-packages", "__pycache__")

TOP = re.compile(r"^\ufeff?(?:\{\s*)?[\"']?(device|chip|actor|based_on)[\"']?\s*:", re.MULTILINE)
NAMED = re.compile(r"\b(?:file|based_on)\s*:\s*(?:\"([^\"\n]+)\"|'([^'\n]+)'|([^\s,}\]#]+))")
MARKED = re.compile(r"#\s*modecheck\b")
"""In the first line of a file that is a model, whatever it is called."""


@dataclass(frozen=True, slots=True)
class Buffer:
    """A text that is open: its address, its path, and the number of its version."""

    uri: str
    path: str
    text: str
    version: int | None = None


@dataclass(slots=True)
class Workspace:
    """The open texts, by real path, over the files of the disk; `roots` are the folders that the
    editor works in.
    """

    buffers: dict[str, Buffer] = field(default_factory=dict)
    encoding: str = UTF_16
    roots: tuple[str, ...] = ()
    _trees: dict[tuple[str, str], object] = field(default_factory=dict)
    _named: dict[str, tuple[str, tuple[str, ...]]] = field(default_factory=dict)

    def put(self, uri: str, text: str, version: int | None = None) -> Buffer:
        """Open a text, or replace it by a newer one."""
        path = path_of(uri)
        known = self.buffers.get(real_path(path))
        buffer = Buffer(known.uri if known else uri, path, text, version)
        self.buffers[real_path(path)] = buffer
        return buffer

    def close(self, uri: str) -> None:
        """From now on, the file counts again."""
        self.buffers.pop(real_path(path_of(uri)), None)

    def snapshot(self) -> Workspace:
        """The same texts, for another thread: later changes do not alter it."""
        return replace(self, buffers=dict(self.buffers))

    def map_of(self, path: str) -> TextMap:
        """The positions in a text; without it, in an empty one."""
        return TextMap(self.text_of(path) or "", self.encoding)

    def held(self) -> HeldTexts:
        """All open texts as they are now; later changes do not alter it."""
        self._forget_trees()
        texts = {path: buffer.text for path, buffer in self.buffers.items()}
        return HeldTexts(texts, self._trees)

    def _forget_trees(self) -> None:
        """Let go of the oldest trees; another thread may add some meanwhile."""
        known = list(self._trees)
        size = sum(len(text) for _, text in known)
        for key in known:
            if size <= MOST_PARSED:
                break
            size -= len(key[1])
            self._trees.pop(key, None)

    def uri_of(self, path: str) -> str:
        """The address of a file, as the editor calls it if it is open."""
        known = self.buffers.get(real_path(path))
        return known.uri if known else uri_of(path)

    def text_of(self, path: str) -> str | None:
        """The text that is open under this path, or that of the file; None if there is neither."""
        known = self.buffers.get(real_path(path))
        return known.text if known else text_on_disk(path)

    def is_model(self, path: str) -> bool:
        """Whether a text is one of a model, rather than any other YAML."""
        text = self.text_of(path) or ""
        return bool(TOP.search(text) or MARKED.match(text.lstrip("\ufeff")))

    def devices_of(self, path: str) -> list[str]:
        """The device files that a file belongs to: itself, or that which lies nearest and names it,
        then every other one that is open and names it, through others or not.
        """
        wanted = real_path(path)
        is_device = kind_of_file(self.text_of(path) or "") == "device"
        found = [path] if is_device else []
        for candidate in self._open() if is_device else self._candidates(path):
            real = real_path(candidate)
            if real == wanted or (found and real not in self.buffers):
                continue
            if kind_of_file(self.text_of(candidate) or "") != "device":
                continue
            if wanted in set(map(real_path, self.files_of(candidate))):
                found.append(candidate)
        return found

    def files_of(self, device: str) -> list[str]:
        """A device file and every file that it names, directly or through others."""
        found, waiting = dict[str, str](), [device]
        while waiting:
            path = waiting.pop(0)
            if real_path(path) in found:
                continue
            found[real_path(path)] = path
            waiting += self._named_in(path)
        return list(found.values())

    def _named_in(self, path: str) -> tuple[str, ...]:
        """The files that a file names itself."""
        text = self.text_of(path) or ""
        known = self._named.get(path)
        if known is None or known[0] != text:
            folder = os.path.dirname(path)
            names = (next(filter(None, match.groups())) for match in NAMED.finditer(text))
            paths = tuple(os.path.normpath(os.path.join(folder, name)) for name in names)
            known = self._named[path] = text, paths
        return known[1]

    def devices_beside(self, path: str) -> Iterator[str]:
        """Every device file that is open, lies close to a file, or in a folder of the editor."""
        seen = set[str]()
        everywhere = (found for root in self.roots for found in _files_under(root))
        for candidate in chain(self._candidates(path), everywhere):
            if real_path(candidate) in seen:
                continue
            seen.add(real_path(candidate))
            if kind_of_file(self.text_of(candidate) or "") == "device":
                yield candidate

    def _open(self) -> list[str]:
        return [buffer.path for buffer in list(self.buffers.values())]

    def _candidates(self, path: str) -> Iterator[str]:
        """Open texts, then files in the folder and above it; `device.yaml` before others."""
        seen = set[str]()
        for candidate in (*self._open(), *_files_near(path)):
            if real_path(candidate) not in seen:
                seen.add(real_path(candidate))
                yield candidate


def _files_near(path: str) -> Iterator[str]:
    folder = os.path.dirname(path)
    for _ in range(FOLDERS_ABOVE + 1):
        try:
            names = sorted(name for name in os.listdir(folder or ".") if name.endswith(ENDINGS))
        except (OSError, ValueError):
            names = []
        names.sort(key=lambda name: not name.startswith("device."))
        yield from (os.path.join(folder, name) for name in names[:MOST_BESIDE])
        above = os.path.dirname(folder)
        if above == folder:
            return
        folder = above


def _files_under(root: str) -> Iterator[str]:
    """Files in a folder and all folders in it, except those that are hidden or hold packages."""
    count = 0
    for folder, folders, names in os.walk(root):
        folders[:] = sorted(name for name in folders if name[0] != "." and name not in NOT_SEARCHED)
        for name in sorted(names):
            if name.endswith(ENDINGS):
                count += 1
                if count > MOST_UNDER:
                    return
                yield os.path.join(folder, name)


def kind_of_file(text: str) -> str:
    """What a file is: a `device`, a `chip`, or nothing by itself (an empty text)."""
    kinds = {match[1] for match in TOP.finditer(text)}
    if "device" in kinds:
        return "device"
    return "chip" if kinds & {"chip", "actor"} else ""


def is_overlay(text: str) -> bool:
    """Whether a file is laid over another."""
    return any(match[1] == "based_on" for match in TOP.finditer(text))


def text_on_disk(path: str) -> str | None:
    """The text of a file; None if it is none, or too large for a model."""
    try:
        if not os.path.isfile(path) or os.path.getsize(path) > MOST_BYTES:
            return None
        with open(path, "rb") as file:
            return file.read().decode("utf-8-sig", "replace")
    except (OSError, ValueError):
        return None


def path_of(uri: str) -> str:
    """The path of a file that has this address (RFC 8089); any other address is its own path."""
    try:
        parts = urlsplit(uri)
    except ValueError:
        return uri
    if parts.scheme != "file":
        return uri
    return url2pathname(parts.path) or uri


def uri_of(path: str) -> str:
    """The address of a file; a path that is an address already is returned unchanged."""
    if re.match(r"[A-Za-z][\w+.-]+:", path):
        return path
    absolute = os.path.abspath(path)
    return f"file://{quote(absolute, errors='surrogateescape')}"
