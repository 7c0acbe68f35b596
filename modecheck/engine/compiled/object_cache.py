"""Compiled objects on disk, in the user's cache folder: an unchanged product starts at once."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from modecheck.engine.kept_files import cache_folder, keep, recall

MOST_ENTRIES = 200
"""The oldest entries beyond this are removed; one is some hundred kilobytes."""


def load(key: str) -> tuple[bytes, dict[str, Any]] | None:
    """The object and the notes kept under a key."""
    raw = recall(_path(key))
    if raw is None:
        return None
    try:
        length = int.from_bytes(raw[:8], "little")
        notes = json.loads(raw[8 : 8 + length])
    except ValueError:
        return None
    return raw[8 + length :], notes


def store(key: str, compiled: bytes, notes: dict[str, Any]) -> None:
    """Keep an object with its notes."""
    text = json.dumps(notes).encode()
    keep(_path(key), len(text).to_bytes(8, "little") + text + compiled, most=MOST_ENTRIES)


def _path(key: str) -> Path:
    return cache_folder() / f"{key}.object"
