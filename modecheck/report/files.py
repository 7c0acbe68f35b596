"""Write files whole or not at all."""

from __future__ import annotations

import os
import tempfile

from modecheck.model.mistakes import InvalidInput, Mistake


def write_whole(path: str, text: str) -> None:
    """Write text to a file: first to a temporary one beside it, which then takes its name.

    Raises `InvalidInput` when the file cannot be written; nothing is left behind then.
    """
    folder = os.path.dirname(path) or "."
    temporary = ""
    try:
        if os.path.isdir(path):
            raise IsADirectoryError(f"{path!r} is a folder")
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".modecheck-")
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)
        message = f"{path!r} cannot be written: {error.strerror or error}"
        raise InvalidInput(
            [Mistake(message, expected="a file name in a folder that exists")]
        ) from error
