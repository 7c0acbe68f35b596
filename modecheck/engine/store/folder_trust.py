"""Whether a folder may be a store: what lies in it is run as code, so nobody else may write it."""

from __future__ import annotations

import os
from pathlib import Path

from modecheck.engine.contract.kept_files import FOR_OWNER_ALONE, OTHERS_WRITE, OWNERS_ARE_KNOWN
from modecheck.model.errors import ModecheckError


class StoreError(ModecheckError):
    """A folder cannot be used as the store of a product."""

    def __init__(self, folder: Path, reason: str) -> None:
        super().__init__()
        self.folder = folder
        self.reason = reason

    def __str__(self) -> str:
        return f"the store {str(self.folder)!r} cannot be used: {self.reason}"


def make_own(folder: Path) -> Path:
    """Have a folder that its owner alone may write to; where it is, whatever the current folder.
    Raises `StoreError` where that cannot be; whether it may be trusted is not looked at.
    """
    found = Path(os.path.abspath(folder))
    try:
        found.mkdir(parents=True, exist_ok=True, mode=FOR_OWNER_ALONE)
    except OSError as error:
        raise StoreError(folder, (error.strerror or str(error)).lower()) from error
    return found


def why_not_trusted(found: os.stat_result) -> str:
    """Why what lies in a folder, or in a file, may not be run by this process, or nothing."""
    if not OWNERS_ARE_KNOWN:
        return ""
    if found.st_uid != os.geteuid():
        return (
            f"it belongs to user {found.st_uid}, and not to user {os.geteuid()}, who would run "
            "what lies in it"
        )
    if found.st_mode & OTHERS_WRITE:
        return "others may write to it, and what lies in it is run"
    return ""


def trusted_bytes(path: Path) -> bytes:
    """The bytes of a file of a store that nobody else can have written. Raises `StoreError`."""
    try:
        with open(path, "rb") as file:
            for found in (path.parent.parent.stat(), path.parent.stat(), os.fstat(file.fileno())):
                if reason := why_not_trusted(found):
                    raise StoreError(path.parent.parent, reason)
            return file.read()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise StoreError(path.parent.parent, f"{path.name} cannot be read: {reason}") from error
