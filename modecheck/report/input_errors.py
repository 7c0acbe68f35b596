"""Errors in the input, on standard error."""

from __future__ import annotations

import sys

from modecheck.report.style import show


def show_errors(error: Exception) -> None:
    """Every error with its place, and how many there are."""
    count = len(getattr(error, "errors", ()))
    heading = ["", f"{count} error{'' if count == 1 else 's'} in the input"] if count else []
    show([str(error), *heading], sys.stderr)
