"""Values on their way between a client and a worker: as bytes if they are small, else in a file of
the store, so that a scheduler never carries much.
"""

from __future__ import annotations

import os
import pickle
import secrets
from pathlib import Path
from typing import Any, TypeAlias

from modecheck.engine.contract.kept_files import FOR_OWNER_ALONE
from modecheck.engine.store.folder_trust import trusted_bytes

PARCELS = "parcels"
"""The folder of a store where values lie."""
MOST_SENT = 1 << 15
"""Bytes that a scheduler carries for one task and its result, each."""

Parcel: TypeAlias = bytes | str
"""A pickled value, or the name of the file in which it lies."""


def packed(folder: Path, value: object) -> Parcel:
    """A value, to be sent."""
    data = pickle.dumps(value)
    if len(data) <= MOST_SENT:
        return data
    name = secrets.token_hex(16)
    beside = folder / PARCELS / f"{name}.part"
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(handle)
    os.replace(beside, folder / PARCELS / name)
    return name


def unpacked(folder: Path, parcel: Parcel) -> Any:
    """The value of a parcel. Raises `StoreError` if others may write where it lies."""
    data = parcel if isinstance(parcel, bytes) else trusted_bytes(folder / PARCELS / parcel)
    return pickle.loads(data)  # noqa: S301 - from the cluster, or from a file that is trusted


def removed(folder: Path, parcel: Parcel) -> None:
    """Remove the file of a parcel, if it has one."""
    if isinstance(parcel, str):
        (folder / PARCELS / parcel).unlink(missing_ok=True)


def make_room(folder: Path) -> None:
    """Have an empty folder for parcels."""
    room = folder / PARCELS
    room.mkdir(mode=FOR_OWNER_ALONE, exist_ok=True)
    for path in room.iterdir():
        path.unlink(missing_ok=True)
