"""The mistake of the faulty twin silent_plug, as an edit of the starter."""

from __future__ import annotations

SILENT = ((r"(?m)(    on: plugged_in\n)    send: .*\n", r"\1"),)
"""The pedal says nothing when it is plugged in."""
