"""Files with a checksum: written whole under another name, renamed, never changed, and checked
when they are read.
"""

from __future__ import annotations

import mmap
import os
import secrets
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

CHECKSUM = 4
"""Bytes of the CRC-32 (ISO 3309, as in zlib) at the end."""


class DamagedFileError(Exception):
    """A file of the store is not as it was written."""

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(path, reason)
        self.path = path
        self.reason = reason

    def __str__(self) -> str:
        return f"{self.path}: {self.reason}"


def write_checked(path: Path, parts: Iterable[NDArray[Any]], *, durable: bool) -> int:
    """Write arrays, one behind the other; how many bytes they take. A file that is `durable` is on
    the disk before it has its name.
    """
    # Processes of two machines may have the same number.
    beside = path.with_name(f"{path.name}.{secrets.token_hex(8)}.part")
    checksum, size = 0, CHECKSUM
    with open(beside, "wb") as file:
        for part in parts:
            data = np.ascontiguousarray(part).reshape(-1).view(np.uint8).data
            checksum = zlib.crc32(data, checksum)
            size += len(data)
            file.write(data)
        file.write(checksum.to_bytes(CHECKSUM, "little"))
        if durable:
            file.flush()
            os.fsync(file.fileno())
    os.replace(beside, path)
    return size


_seen_whole: set[tuple[Path, int, int, int]] = set()
"""Files whose checksum was right, with their size and when they were written: this process need not
compute it again."""


def checked_region(path: Path, magic: int, header: int) -> mmap.mmap:
    """A file where it lies, that begins with a word and has so many in its header. Raises
    `DamagedFileError`.
    """
    try:
        with open(path, "rb") as file:
            found = os.fstat(file.fileno())
            region = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    except (OSError, ValueError) as error:
        raise DamagedFileError(path, "it cannot be read") from error
    own = path, found.st_ino, found.st_size, found.st_mtime_ns
    if own in _seen_whole:
        return region
    with memoryview(region) as whole:
        if len(whole) < 8 * header + CHECKSUM:
            raise DamagedFileError(path, "it is cut off")
        if int.from_bytes(whole[:8], "little") != magic:
            raise DamagedFileError(path, "it is no file of this kind")
        stored = int.from_bytes(whole[-CHECKSUM:], "little")
        if zlib.crc32(whole[:-CHECKSUM]) != stored:
            raise DamagedFileError(path, "its checksum is wrong")
    _seen_whole.add(own)
    if hasattr(mmap, "MADV_DONTNEED"):
        region.madvise(mmap.MADV_DONTNEED)  # what is asked of it later may be a small part
    return region
