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
    command = [compiler(), *STRICT, *options, f"-I{folder}", *sources]
    done = _run([*command, "-o", target])
    if not done.returncode:
        return
    said = "\n".join(done.stderr.splitlines()[:20])
    if _run([*command, "-fsyntax-only"]).returncode:
        message, expected = "refuses the code", "code that compiles without a warning"
    else:
        message, expected = "accepts the code, but makes no program of it", "another compiler in CC"
        if set(SANITIZERS) <= set(options):
            expected = f"its libraries for {SANITIZERS[0]}, or {expected}"
    error = InputError(f"the C compiler {message}:\n{said}", expected=expected)
    raise InvalidInput([error])


def _run(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # noqa: S603 - the user's own compiler
        command, capture_output=True, text=True, timeout=LONGEST_RUN, check=False
    )
