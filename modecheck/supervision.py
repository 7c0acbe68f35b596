"""How long a Bluetooth connection may be silent before it counts as lost: the standard's rule.

Bluetooth Core Specification, Vol 6 Part B, section 4.5.2 (as quoted elsewhere; the specification
itself was not opened): the supervision timeout is a multiple of 10 ms from 100 ms to 32 s, and
strictly longer than (1 + latency) * interval * 2. The bounds of interval and latency are those of
chip manuals; newer revisions allow shorter intervals, so the shortest one is an argument.

All times are exact: fractions of a second, or strings such as "7.5 ms". Floats are refused.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import NoReturn

from modecheck.model.clocks import spelled
from modecheck.model.errors import ModecheckError
from modecheck.model.phrases import DURATION, SECONDS

RULE = "Bluetooth Core Specification Vol 6 Part B section 4.5.2"

SHORTEST, LONGEST, STEP = Fraction(1, 10), Fraction(32), Fraction(1, 100)
"""Seconds of a supervision timeout."""

SHORTEST_INTERVAL, LONGEST_INTERVAL, INTERVAL_STEP = (
    Fraction("0.0075"),
    Fraction(4),
    Fraction("0.00125"),
)
"""Seconds between two connection events."""

HIGHEST_LATENCY = 499
"""Connection events that the peripheral may skip in a row."""


class AgainstTheRule(ModecheckError, ValueError):
    """A supervision timeout, an interval or a latency that the rule does not allow."""


def smallest_supervision_timeout(
    interval: Fraction | str,
    latency: int = 0,
    *,
    shortest_interval: Fraction | str = SHORTEST_INTERVAL,
) -> Fraction:
    """The smallest supervision timeout that the rule allows, in seconds.

    Raises `AgainstTheRule` where interval or latency are out of bounds, or where no timeout
    up to 32 s is long enough.
    """
    silence = _longest_silence(interval, latency, shortest_interval)
    smallest = max(SHORTEST, STEP * (math.floor(silence / STEP) + 1))
    if smallest > LONGEST:
        _refuse(f"no timeout up to {spelled(LONGEST)} is longer than {spelled(silence)}")
    return smallest


def check_supervision_timeout(
    timeout: Fraction | str,
    interval: Fraction | str,
    latency: int = 0,
    *,
    shortest_interval: Fraction | str = SHORTEST_INTERVAL,
) -> Fraction:
    """By how much the timeout exceeds the rule's bound, in seconds; always more than 0.

    Raises `AgainstTheRule`, which names the part of the rule that is violated.
    """
    seconds = _seconds(timeout)
    silence = _longest_silence(interval, latency, shortest_interval)
    if not SHORTEST <= seconds <= LONGEST:
        _refuse(f"{_told(seconds)} is not between {spelled(SHORTEST)} and {spelled(LONGEST)}")
    if seconds % STEP:
        _refuse(f"{_told(seconds)} is not a multiple of {spelled(STEP)}")
    if seconds <= silence:
        _refuse(
            f"{_told(seconds)} is not longer than (1 + latency) * interval * 2, which is "
            f"{_told(silence)}"
        )
    return seconds - silence


def _longest_silence(
    interval: Fraction | str, latency: int, shortest_interval: Fraction | str
) -> Fraction:
    """(1 + latency) * interval * 2, in seconds."""
    seconds, shortest = _seconds(interval), _seconds(shortest_interval)
    if not shortest <= seconds <= LONGEST_INTERVAL:
        _refuse(
            f"an interval of {_told(seconds)} is not between {_told(shortest)} and "
            f"{spelled(LONGEST_INTERVAL)}"
        )
    if seconds % INTERVAL_STEP:
        _refuse(f"an interval of {_told(seconds)} is not a multiple of {_told(INTERVAL_STEP)}")
    if not isinstance(latency, int) or not 0 <= latency <= HIGHEST_LATENCY:
        _refuse(f"a latency of {latency} is not between 0 and {HIGHEST_LATENCY}")
    return (1 + latency) * seconds * 2


def _seconds(time: Fraction | str) -> Fraction:
    if isinstance(time, str):
        match = re.fullmatch(DURATION, time.strip())
        if match is None:
            raise AgainstTheRule(
                f"{time!r} is not a duration; expected a number with a unit: 7.5 ms"
            )
        return Fraction(match[1]) * SECONDS[match[2]]
    if not isinstance(time, Fraction):
        raise TypeError(f"{time!r} is not exact; expected a Fraction of a second, or '7.5 ms'")
    return time


def _told(seconds: Fraction) -> str:
    """In ms where that is short to write, for most of the rule is in ms: `7.5 ms`."""
    milliseconds = seconds * 1000
    return f"{float(milliseconds):.12g} ms"


def _refuse(what: str) -> NoReturn:
    raise AgainstTheRule(f"{what} ({RULE})")
