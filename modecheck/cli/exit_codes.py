"""The exit codes of every command, and what its help says of them."""

from __future__ import annotations

NOTHING_FOUND, FOUND, WRONG_INPUT, INCOMPLETE = 0, 1, 2, 3
INTERNAL_ERROR = 70
"""A bug in modecheck itself: EX_SOFTWARE in BSD's sysexits.h (from memory)."""

BOUND = "incomplete: a bound was hit"


def exit_code(*, found: bool, complete: bool) -> int:
    """Findings take precedence over incompleteness: 1 means that there is something to fix."""
    if found:
        return FOUND
    return NOTHING_FOUND if complete else INCOMPLETE


def exit_codes(
    nothing: str = "nothing found",
    *,
    found: str = "",
    invalid: str = "invalid input",
    incomplete: str = BOUND,
) -> str:
    """The end of a command's help; a code without a meaning is one that it never returns."""
    meanings = {
        NOTHING_FOUND: nothing,
        FOUND: found,
        WRONG_INPUT: invalid,
        INCOMPLETE: incomplete,
        INTERNAL_ERROR: "a bug in modecheck itself",
    }
    told = [f"  {code:>2}  {meaning}" for code, meaning in meanings.items() if meaning]
    return "\n".join(["\b", "Exit codes:", *told])
