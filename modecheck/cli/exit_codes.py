"""The exit codes of every command."""

from __future__ import annotations

NOTHING_FOUND, FOUND, WRONG_INPUT, INCOMPLETE = 0, 1, 2, 3
INTERNAL_ERROR = 70
"""A bug in modecheck itself: EX_SOFTWARE in BSD's sysexits.h (from memory)."""


def exit_code(*, found: bool, complete: bool) -> int:
    """Findings take precedence over incompleteness: 1 means that there is something to fix."""
    if found:
        return FOUND
    return NOTHING_FOUND if complete else INCOMPLETE
