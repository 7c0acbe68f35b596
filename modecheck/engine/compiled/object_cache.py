"""Compiled objects on disk, in the user's cache folder: an unchanged product starts at once.

An entry that cannot be read, is cut short or was damaged counts as absent; a folder that cannot be
written to means that nothing is kept. Neither is ever an error.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

MOST_ENTRIES = 200
"""The oldest entries beyond this are removed; one is some hundred kilobytes."""


def cache_folder() -> Path:
    """The folder for this user's compiled objects."""
    chosen = os.environ.get("MODECHECK_CACHE")
    if chosen:
        return Path(chosen)
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA", str(Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "modecheck"


def load(key: str) -> tuple[bytes, dict[str, Any]] | None:
    """The object and the notes kept under a key."""
    try:
        raw = (cache_folder() / f"{key}.object").read_bytes()
        digest, raw = raw[:32], raw[32:]
        if hashlib.sha256(raw).digest() != digest:
            return None
        length = int.from_bytes(raw[:8], "little")
        notes = json.loads(raw[8 : 8 + length])
        return raw[8 + length :], notes
    except (OSError, ValueError):
        return None


def store(key: str, compiled: bytes, notes: dict[str, Any]) -> None:
    """Keep an object with its notes: to a temporary file first, which then takes its name."""
    text = json.dumps(notes).encode()
    raw = len(text).to_bytes(8, "little") + text + compiled
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".new-")
        with os.fdopen(handle, "wb") as file:
            file.write(hashlib.sha256(raw).digest() + raw)
        os.replace(temporary, folder / f"{key}.object")
        _remove_oldest(folder)
    except OSError:
        return


def _remove_oldest(folder: Path) -> None:
    entries = sorted(folder.glob("*.object"), key=lambda path: path.stat().st_mtime)
    for path in entries[:-MOST_ENTRIES]:
        path.unlink(missing_ok=True)
