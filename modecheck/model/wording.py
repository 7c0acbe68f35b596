"""Lists and counts in sentences."""

from __future__ import annotations

from collections.abc import Sequence


def listed(parts: Sequence[str]) -> str:
    """As in "a", "a and b", "a, b and c"."""
    if len(parts) == 1:
        return parts[0]
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def either(parts: Sequence[str]) -> str:
    """As in "a", "a or b", "a, b or c"."""
    return listed(parts) if len(parts) == 1 else f"{', '.join(parts[:-1])} or {parts[-1]}"


def short(number: float) -> str:
    """Millions as such: a line of a terminal must have room for the rate of any exploration."""
    return f"{number / 1e6:,.1f} M" if number >= 1e6 else f"{number:,.0f}"


def counted(count: int, noun: str) -> str:
    """As in "1 state", "20,000 states"."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"
