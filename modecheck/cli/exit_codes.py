"""The exit codes of every command."""

from __future__ import annotations

NOTHING_FOUND, FOUND, WRONG_INPUT, INCOMPLETE = 0, 1, 2, 3
INTERNAL_ERROR = 70
"""A fault of modecheck itself: EX_SOFTWARE in the sysexits.h of BSD (from memory)."""


def exit_code(*, found: bool, complete: bool) -> int:
    """Findings count more than incompleteness: 1 tells that there is something to mend."""
    if found:
        return FOUND
    return NOTHING_FOUND if complete else INCOMPLETE
