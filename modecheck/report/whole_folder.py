"""Write a new folder completely or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping

from modecheck.model.errors import InputError, InvalidInput


def write_new_folder(
    path: str, files: Mapping[str, str], judge: Callable[[str], object] = len
) -> None:
    """Write files, by their paths inside it, to a folder that must not exist yet: first to a
    temporary one, which is then renamed. `judge` is called with the temporary folder before that;
    if it raises, nothing is left behind, as after any error.

    Raises `InvalidInput` when the path exists or the folder cannot be written.
    """
    need_new(path)
    try:
        beside = os.path.dirname(path) or "."
        with tempfile.TemporaryDirectory(dir=beside, prefix=".modecheck-") as outer:
            folder = os.path.join(outer, os.path.basename(path))
            for name, text in files.items():
                target = os.path.join(folder, name)
                os.makedirs(os.path.dirname(target), exist_ok=True)
                with open(target, "w", encoding="utf-8", newline="\n") as file:
                    file.write(text)
            judge(folder)
            os.rename(folder, path)
    except OSError as error:
        raise _refused(path, error.strerror or str(error), "a writable folder") from error


def need_new(path: str) -> None:
    """Raise `InvalidInput` if there is something at a path."""
    if os.path.lexists(path):
        raise _refused(path, "it exists, and nothing is ever overwritten", "a new name")


def _refused(path: str, why: str, expected: str) -> InvalidInput:
    return InvalidInput([InputError(f"{path!r} cannot be written: {why}", expected=expected)])
