"""Files kept in the user's cache folder: what was made once need not be made again.

An entry that cannot be read, is cut short or was damaged counts as absent; a folder that cannot be
written to means that nothing is kept. Neither is ever an error.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from pathlib import Path

DIGEST_BYTES = 32


def cache_folder() -> Path:
    """The folder for what is kept of this user."""
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


def kernels_folder() -> Path:
    """The folder for what is compiled once for all products."""
    chosen = os.environ.get("MODECHECK_KERNELS")
    return Path(chosen) if chosen else cache_folder() / "kernels"


def recall(path: Path) -> bytes | None:
    """What was kept in a file, or None."""
    try:
        raw = path.read_bytes()
    except OSError:
        return None
    whole = hashlib.sha256(raw[DIGEST_BYTES:]).digest() == raw[:DIGEST_BYTES]
    return raw[DIGEST_BYTES:] if whole else None


def keep(path: Path, raw: bytes, *, most: int) -> None:
    """Keep something: in a temporary file first, which then takes its name. Of the files in the
    folder with the same ending the `most` newest stay.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".new-")
        with os.fdopen(handle, "wb") as file:
            file.write(hashlib.sha256(raw).digest() + raw)
        os.replace(temporary, path)
        _remove_oldest(path.parent, path.suffix, most)
    except OSError:
        return


def _remove_oldest(folder: Path, ending: str, most: int) -> None:
    entries = sorted(folder.glob(f"*{ending}"), key=lambda path: path.stat().st_mtime)
    for path in entries[:-most]:
        path.unlink(missing_ok=True)
