"""The system's C compiler: found, and run on the code of a chip."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence

from modecheck.model.errors import InputError, InvalidInput

STRICT = ("-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror", "-Wconversion")
"""Every warning is an error, so that what is written passes in a project that is as strict."""
SANITIZERS = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-g", "-O1")
LONGEST_RUN = 600
"""Seconds that the compiler may take; generated code of ten thousand states takes a few."""


def compiler() -> str:
    """The compiler that CC names, or else the system's.

    Raises `InvalidInput` when there is none.
    """
    named = os.environ.get("CC", "")
    found = next(
        (path for name in (named, "cc", "gcc", "clang") if (path := shutil.which(name))), ""
    )
    if not found:
        message = "there is no C compiler to prove the code with"
        raise InvalidInput([InputError(message, expected="cc, gcc or clang, or the variable CC")])
    return found


def compiled(sources: Sequence[str], target: str, options: Sequence[str], *, folder: str) -> None:
    """Compile and link sources. Raises `InvalidInput` with what the compiler said."""
    command = [compiler(), *STRICT, *options, f"-I{folder}", "-o", target, *sources]
    done = subprocess.run(  # noqa: S603 - the user's own compiler
        command, capture_output=True, text=True, timeout=LONGEST_RUN, check=False
    )
    if done.returncode:
        said = "\n".join(done.stderr.splitlines()[:20])
        message = f"the C compiler refuses the code:\n{said}"
        raise InvalidInput([InputError(message, expected="code that compiles without a warning")])
