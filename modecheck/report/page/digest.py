"""Which files a model was read from, and one digest over all of them.

The digest is the SHA-256 (FIPS 180-4) of the list of files as `sha256sum` would print it in the
device file's folder: a line for each file, its own digest, two spaces, its path, sorted by path.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from hashlib import sha256

from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class Digest:
    """`files` are pairs of a path, relative to the device file's folder, and its SHA-256."""

    files: tuple[tuple[str, str], ...]
    whole: str


def digest_of(device: Device) -> Digest:
    """The digest of the files of a device, independent of where its folder lies."""
    files = sorted((seen_from(device, path), digest) for path, digest in device.digests.items())
    listed = "".join(f"{digest}  {path}\n" for path, digest in files)
    whole = sha256(listed.encode("utf-8", "surrogateescape")).hexdigest()
    return Digest(tuple(files), whole)


def seen_from(device: Device, path: str) -> str:
    """A path relative to the folder of the device file, with slashes."""
    return os.path.relpath(path, os.path.dirname(device.file) or ".").replace(os.sep, "/")
