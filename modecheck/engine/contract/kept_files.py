"""Files kept in the user's cache folder: what was made once need not be made again.

This is the one place that opens that folder. What lies there is believed, and machine code is run:
so folders are made for their owner alone, and neither a folder nor a file is read that belongs to
somebody else, or that others may write. That is said once, and then nothing is kept.

An entry that cannot be read, is cut short or was damaged counts as absent; a folder that cannot be
written to means that nothing is kept. Neither is ever an error.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

DIGEST_BYTES = 32
FOR_OWNER_ALONE = 0o700
"""As the XDG Base Directory Specification wants of folders that are made below its base folders."""
OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH
OWNERS_ARE_KNOWN = hasattr(os, "geteuid")
"""Not on Windows, whose folders of a user's local data are closed to other users by inheritance."""

_UNFOLLOWED = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
_BINARY = getattr(os, "O_BINARY", 0)
_told: set[Path] = set()


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
    if not is_trusted(path.parent):
        return None
    try:
        handle = os.open(path, os.O_RDONLY | _UNFOLLOWED | _BINARY)
    except OSError:
        return None
    with os.fdopen(handle, "rb") as file:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode) or not _is_ours(path, found):
            return None
        raw = file.read()
    whole = hashlib.sha256(raw[DIGEST_BYTES:]).digest() == raw[:DIGEST_BYTES]
    return raw[DIGEST_BYTES:] if whole else None


def keep(path: Path, raw: bytes, *, most: int) -> None:
    """Keep something: in a temporary file first, which then takes its name. Of the files in the
    folder with the same ending the `most` newest stay.
    """
    if not made(path.parent):
        return
    try:
        # Its owner alone may read and write what this makes.
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".new-")
        with os.fdopen(handle, "wb") as file:
            file.write(hashlib.sha256(raw).digest() + raw)
        os.replace(temporary, path)
        _remove_oldest(path.parent, path.suffix, most)
    except OSError:
        return


def made(folder: Path) -> bool:
    """Whether there is such a folder now, and what lies in it may be believed."""
    try:
        for missing in reversed([one for one in (folder, *folder.parents) if not one.exists()]):
            missing.mkdir(mode=FOR_OWNER_ALONE, exist_ok=True)
    except OSError:
        return False
    return is_trusted(folder)


def is_trusted(folder: Path) -> bool:
    """Whether nobody else can have put anything into a folder; not if there is none."""
    try:
        return all(_is_ours(one, one.stat()) for one in _up_to_root(folder))
    except OSError:
        return False


def look_at_folders() -> None:
    """Say now what would be said of the folders later, before a process is copied: each copy would
    say it once more.
    """
    for folder in (cache_folder(), kernels_folder()):
        is_trusted(folder)


def _up_to_root(folder: Path) -> Iterator[Path]:
    """The folder for all that is kept, and those on the way from there to this one."""
    above = [folder, *folder.parents]
    roots = [above.index(root) for root in (cache_folder(), kernels_folder()) if root in above]
    yield from reversed(above[: max(roots, default=0) + 1])


def _is_ours(path: Path, found: os.stat_result) -> bool:
    if not OWNERS_ARE_KNOWN:
        return True
    if found.st_uid != os.geteuid():
        _tell(path, "it belongs to somebody else")
    elif found.st_mode & OTHERS_WRITE:
        _tell(path, "others may write to it")
    else:
        return True
    return False


def _tell(path: Path, why: str) -> None:
    """Say once for all files of a folder that something is not read."""
    folder = path if path.is_dir() else path.parent
    if folder not in _told:
        _told.add(folder)
        sys.stderr.write(
            f"nothing is read from {path} in the cache: {why}; "
            "remove it, and it is made anew for you alone\n"
        )


def _remove_oldest(folder: Path, ending: str, most: int) -> None:
    entries = sorted(folder.glob(f"*{ending}"), key=lambda path: path.stat().st_mtime)
    for path in entries[:-most]:
        path.unlink(missing_ok=True)
