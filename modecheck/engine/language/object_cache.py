"""Compiled objects on disk, in the user's cache folder: an unchanged product starts at once."""

from __future__ import annotations

import hashlib
import json
import sys
from functools import cache
from pathlib import Path
from typing import Any

import llvmlite
import llvmlite.binding as llvm

from modecheck.engine.contract.kept_files import cache_folder, keep, recall

MOST_ENTRIES = 200
"""The oldest entries beyond this are removed; one is some hundred kilobytes."""


@cache
def compiler() -> str:
    """What makes objects of kernels, and for which processor: a part of every key.

    The text of the compiler belongs to it, since a version number does not change with every edit.
    """
    features = llvm.get_host_cpu_features().flatten()
    processor = (llvm.get_process_triple(), llvm.get_host_cpu_name(), features)
    text = digest_of(Path(__file__).parent)
    return repr((sys.version, llvmlite.__version__, processor, text))


def digest_of(*folders: Path) -> str:
    """A hash of the modules in some folders."""
    digest = hashlib.sha256()
    for folder in folders:
        paths = sorted(folder.glob("*.py"))
        if not paths:
            raise FileNotFoundError(f"no modules in {folder}")  # or edits would go unnoticed
        for path in paths:
            digest.update(path.read_bytes())
    return digest.hexdigest()


def load(key: str, folder: Path | None = None) -> tuple[bytes, dict[str, Any]] | None:
    """The object and the notes kept under a key, in the cache folder or another one."""
    raw = recall(_path(key, folder))
    if raw is None:
        return None
    try:
        length = int.from_bytes(raw[:8], "little")
        notes = json.loads(raw[8 : 8 + length])
    except ValueError:
        return None
    return raw[8 + length :], notes


def store(
    key: str,
    compiled: bytes,
    notes: dict[str, Any],
    folder: Path | None = None,
    *,
    most: int = MOST_ENTRIES,
) -> None:
    """Keep an object with its notes, there."""
    text = json.dumps(notes).encode()
    keep(_path(key, folder), len(text).to_bytes(8, "little") + text + compiled, most=most)


def _path(key: str, folder: Path | None) -> Path:
    return (folder or cache_folder()) / f"{key}.object"
