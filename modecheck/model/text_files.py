"""Read the text of a file; report a missing file, a folder, a special file or binary data."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from hashlib import sha256

from modecheck.model.errors import Notebook
from modecheck.model.places import Place, Source

MOST_BYTES = 4 * 1024 * 1024
"""A device of 16,000 lines is well under 1 MiB; more than this is not a model."""

CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")
"""Characters that no model needs; as escapes, they could control the terminal."""

LONGEST_NAME_SHOWN = 200
"""Characters of a file name in a message; a longer one is cut at the front."""


@dataclass(frozen=True, slots=True)
class HeldTexts:
    """Texts that are read in place of files, by the real path of each: what is not saved yet.

    `trees` remembers what was made of a text without errors, by path and text, so that files that
    did not change are not parsed again. Nobody changes a tree after it was built.
    """

    texts: Mapping[str, str]
    trees: dict[tuple[str, str], object] = field(default_factory=dict)


_HELD: ContextVar[HeldTexts | None] = ContextVar("held_texts", default=None)


@contextmanager
def instead_of_files(held: HeldTexts) -> Iterator[None]:
    """Within it, everything in this thread reads these texts in place of the files."""
    before = _HELD.set(held)
    try:
        yield
    finally:
        _HELD.reset(before)


def held_texts() -> HeldTexts | None:
    """What is read in place of files, if anything."""
    return _HELD.get()


def read_text(path: str, notes: Notebook, named_at: Place | None, kind: str = "YAML") -> str | None:
    """The text of a file of a kind, or None after noting why it cannot be read.

    `named_at` is where another file names this one; a missing file is reported there.
    """
    held = _HELD.get()
    text = held.texts.get(real_path(path)) if held is not None else None
    if text is None:
        return _read_file(path, notes, named_at, kind)
    raw = text.encode("utf-8", "surrogatepass")
    if len(raw) > MOST_BYTES:
        limit = f"at most {MOST_BYTES // 1024**2} MiB"
        notes.add(f"the text is too large: {len(raw):,} bytes", named_at, expected=limit)
        return None
    notes.files[path] = sha256(raw).hexdigest()
    return _without_controls(path, text.removeprefix("\ufeff"), notes, kind)


def real_path(path: str) -> str:
    """A canonical name of the file; a name that no file can have is returned unchanged."""
    try:
        return os.path.realpath(path)
    except ValueError:
        return path


def _read_file(path: str, notes: Notebook, named_at: Place | None, kind: str) -> str | None:
    problem, expected = "", ""
    name = repr(path if len(path) <= LONGEST_NAME_SHOWN else f"…{path[-LONGEST_NAME_SHOWN:]}")
    try:
        size = os.path.getsize(path) if os.path.isfile(path) else 0
        if size > MOST_BYTES:
            limit = f"at most {MOST_BYTES // 1024**2} MiB"
            notes.add(f"{name} is too large: {size:,} bytes", named_at, expected=limit)
            return None
        if os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path):
            notes.add(f"{name} is not a regular file", named_at, expected=_a_file(kind))
            return None
        with open(path, "rb") as file:
            raw = file.read()
            notes.files[path] = sha256(raw).hexdigest()
            return _decode(path, raw, notes, kind)
    except FileNotFoundError:
        problem, expected = f"there is no file {name}", ""
    except IsADirectoryError:
        problem, expected = f"{name} is a folder", _a_file(kind)
    except PermissionError:
        problem, expected = f"no permission to read {name}", "a readable file"
    except (OSError, ValueError) as error:
        problem = f"{name} cannot be read: {getattr(error, 'strerror', None) or error}"
    siblings = _siblings(path)
    word = os.path.basename(path)
    missing = problem.startswith("there is no")
    notes.add(
        problem,
        named_at,
        expected=expected or "a file that exists",
        word=word if missing else "",
        choices=siblings if missing else (),
    )
    return None


def _a_file(kind: str) -> str:
    """Of a kind whose name is spelled out, such as XML."""
    return f"{'an' if kind[0] in 'AEFHILMNORSX' else 'a'} {kind} file"


def _siblings(path: str) -> list[str]:
    try:
        return [name for name in os.listdir(os.path.dirname(path) or ".") if "." in name]
    except (OSError, ValueError):
        return []


def _decode(path: str, raw: bytes, notes: Notebook, kind: str) -> str | None:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        place = _place_in(path, raw.decode("utf-8-sig", "replace"), len(_decoded(raw, error.start)))
        notes.add("this is not UTF-8 text", place, expected=f"{kind} text encoded in UTF-8")
        return None
    return _without_controls(path, text, notes, kind)


def _without_controls(path: str, text: str, notes: Notebook, kind: str) -> str | None:
    control = CONTROL.search(text)
    if control:
        message = f"a control character ({ord(control[0]):#04x}) in the text"
        place = _place_in(path, text, control.start())
        notes.add(message, place, expected=f"{kind} text, not a binary file")
        return None
    return text


def _decoded(raw: bytes, end: int) -> str:
    return raw[:end].decode("utf-8-sig", "replace")


def _place_in(path: str, text: str, offset: int) -> Place:
    before = text[:offset]
    column = offset - (before.rfind("\n") + 1)
    return Place(Source(path, tuple(text.split("\n"))), before.count("\n") + 1, column + 1)
