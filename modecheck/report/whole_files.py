"""Write files completely or not at all."""

from __future__ import annotations

import json
import os
import tempfile

from modecheck.model.errors import InputError, InvalidInput


def write_whole(path: str, text: str) -> None:
    """Write text to a file: first to a temporary file beside it, which then replaces it. A link
    stays a link. What is no file, such as /dev/stdout or a named pipe, is written to instead.

    Raises `InvalidInput` when the file cannot be written; nothing is left behind then.
    """
    need_writable(path)
    content = text.encode("utf-8", "replace")
    try:
        if _stays(path):
            _write_to(path, content)
        else:
            _replace(_target(path), content)
    except OSError as error:
        raise _not_writable(path, error) from error


def _stays(path: str) -> bool:
    """Whether a path names something that no file may replace: a device or a pipe. A redirected
    /dev/stdout is a file, but replacing it would lose what the shell has opened.
    """
    is_device = os.path.abspath(path).startswith("/dev/")
    return os.path.exists(path) and (is_device or not os.path.isfile(path))


def _write_to(path: str, content: bytes) -> None:
    # Without truncating it, and behind what a redirected standard output already holds.
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_APPEND), "wb") as file:
        file.write(content)


def _replace(path: str, content: bytes) -> None:
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=_folder(path), prefix=".modecheck-")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
        temporary = ""
    finally:
        if temporary:
            os.unlink(temporary)


def write_json(path: str, data: object) -> None:
    """Write data as indented JSON, as `write_whole` does."""
    write_whole(path, json.dumps(data, indent=2, ensure_ascii=False) + "\n")


def need_writable(path: str) -> None:
    """Raise `InvalidInput` now, rather than after long work, if a file cannot be written."""
    if os.path.isdir(path):
        raise _not_writable(path, "it is a folder")
    if _stays(path):
        if not os.access(path, os.W_OK):
            raise _not_writable(path, "it is not writable")
        return
    folder = _folder(_target(path))
    if not os.path.isdir(folder):
        raise _not_writable(path, f"there is no folder {folder!r}")
    if not os.access(folder, os.W_OK):
        raise _not_writable(path, f"the folder {folder!r} is not writable")


def _target(path: str) -> str:
    """What a link leads to, or the path as it was given."""
    return os.path.realpath(path) if os.path.islink(path) else path


def _folder(path: str) -> str:
    return os.path.dirname(path) or "."


def _not_writable(path: str, why: OSError | str) -> InvalidInput:
    reason = why if isinstance(why, str) else why.strerror or str(why)
    message = f"{path!r} cannot be written: {reason}"
    return InvalidInput([InputError(message, expected="a file in a writable folder")])
