"""Write files completely or not at all."""

from __future__ import annotations

import json
import os
import tempfile

from modecheck.model.errors import InputError, InvalidInput


def write_whole(path: str, text: str) -> None:
    """Write text to a file: first to a temporary file beside it, which then replaces it.

    Raises `InvalidInput` when the file cannot be written; nothing is left behind then.
    """
    temporary = ""
    try:
        need_writable(path)
        handle, temporary = tempfile.mkstemp(dir=_folder(path), prefix=".modecheck-")
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8", "replace"))
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
        temporary = ""
    except OSError as error:
        raise _not_writable(path, error) from error
    finally:
        if temporary:
            os.unlink(temporary)


def write_json(path: str, data: object) -> None:
    """Write data as indented JSON, as `write_whole` does."""
    write_whole(path, json.dumps(data, indent=2, ensure_ascii=False) + "\n")


def need_writable(path: str) -> None:
    """Raise `InvalidInput` now, rather than after long work, if a file cannot be written."""
    folder = _folder(path)
    if os.path.isdir(path):
        raise _not_writable(path, "it is a folder")
    if not os.path.isdir(folder):
        raise _not_writable(path, f"there is no folder {folder!r}")
    if not os.access(folder, os.W_OK):
        raise _not_writable(path, f"the folder {folder!r} is not writable")


def _folder(path: str) -> str:
    return os.path.dirname(path) or "."


def _not_writable(path: str, why: OSError | str) -> InvalidInput:
    reason = why if isinstance(why, str) else why.strerror or str(why)
    message = f"{path!r} cannot be written: {reason}"
    return InvalidInput([InputError(message, expected="a file in a writable folder")])
