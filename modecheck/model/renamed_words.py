"""Words that once had another name. No old word works; whoever writes one is told the new one."""

from __future__ import annotations

KEYS = {"ignores": "discards", "raise": "signal", "every": "period", "tags": "concerns"}
"""Of chips, states, rules and links."""

EVENTS = {"raised": "signalled"}
"""In requirements and in `chances`."""

CODES = {"unhandled-message": "unspecified-reception"}
"""Of findings, in `accepted` and `expect`."""

OPTIONS = {"--equivalence": "--alike"}
"""Of the command line."""

LINES = {"save": "keep", "load": "retake", "go": "along"}
"""What `modecheck step` is told."""


def called_now(old: str, new: str) -> str:
    """The sentence about an old word."""
    return f"{old!r} is called {new!r} now"
