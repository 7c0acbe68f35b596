"""Words that have been renamed. No old word works; using one is an error that names the new one."""

from __future__ import annotations

KEYS = {"ignores": "discards", "raise": "signal", "every": "period", "tags": "concerns"}
"""Of chips, states, rules and links."""

EVENTS = {"raised": "signalled"}
"""In requirements and in `chances`."""

CODES = {"unhandled-message": "unspecified-reception"}
"""Of findings, in `accepted` and `expect`."""

OPTIONS = {"--equivalence": "--alike"}
"""Of the command line."""

LINES = {"way": "trace", "save": "keep", "load": "retake", "go": "along"}
"""Commands of `modecheck step`."""


def called_now(old: str, new: str) -> str:
    """The sentence about an old word."""
    return f"{old!r} is called {new!r} now"
