"""What stands in a table of a chip: its columns, the lines above them, and what cells can hold."""

from __future__ import annotations

import re

from modecheck.exchange.scxml_data import type_in_words, words_of_type
from modecheck.model.clocks import spelled
from modecheck.model.phrases import FOREVER
from modecheck.model.times import Duration
from modecheck.model.values import ValueType

COLUMNS = ("rule", "state", "event", "condition", "action", "next")
"""Columns of a table with a row for each transition; only those `NEEDED` must be there."""
CHIP = "chip"
"""A column of the names of chips, where a table is about several."""
MORE_COLUMNS = ("priority", "text", "fair", "weight", "concerns", "steps")
"""Columns for what few rules say, as the keys of the same names."""
NEEDED = ("state", "event", "next")

HEADS = (
    *("chip", "actor", "about", "fair", "concerns", "runs_on", "priority", "battery"),
    *("variable", "timer", "states", "inside", "initial", "rest", "awake", "masks", "current"),
    *("discards", "defers"),
)
"""The first words of lines above the columns."""

DISCARDED, DEFERRED = "discarded", "deferred"
NO_ANSWER, NO_RULE = "no answer", "no rule"
"""What may stand in place of a next state. The last two say that a message arrives which has no
answer, or that no rule reacts to a signal; for a reader they are as good as nothing.
"""
INSTEAD = (DISCARDED, DEFERRED, NO_ANSWER, NO_RULE)
MANNERS = {DISCARDED: "discard", DEFERRED: "defer"}
NOTHING = "-"
"""No next state: the chip stays where it is. At the top of a column: no event."""

RANGE = re.compile(r"(-?\d{1,10}) to (-?\d{1,10})")
LISTED = re.compile(r"(.+) list (\d{1,3})")
WAITING = re.compile(r"(after|period|expires)\s+(.+)", re.DOTALL)
TIME = re.compile(r"\d{1,12}(?:\.\d+)?\s*(?:us|µs|ms|s|min|h)")


def holds_text(type_: ValueType, length: int) -> str:
    """What a variable holds: `0 to 9`, `bool`, `bond 1`, or words; `… list 3` for three of it."""
    number = type_.kind == "number"
    text = f"{type_.low} to {type_.high}" if number else words_of_type(type_)
    return f"{text} list {length}" if length else text


def holds_of(text: str) -> tuple[ValueType, int] | None:
    """The type and the length that `holds_text` wrote, or None."""
    match = LISTED.fullmatch(text)
    one = match[1] if match else text
    type_ = type_in_words(RANGE.sub(r"[\1, \2]", one))
    return (type_, int(match[2]) if match else 0) if type_ is not None else None


def duration_text(duration: Duration) -> str:
    """`2 ms`, or `2 ms to 5 ms`."""
    if duration.low == duration.high:
        return spelled(duration.low)
    high = FOREVER if duration.high is None else spelled(duration.high)
    return f"{spelled(duration.low)} to {high}"


def duration_of(text: str) -> str | None:
    """The same as a draft has it, or None if it is no duration."""
    low, to, high = (one.strip() for one in text.partition(" to "))
    if not TIME.fullmatch(low) or (to and high != FOREVER and not TIME.fullmatch(high)):
        return None
    return f"[{low}, {high}]" if to else low
