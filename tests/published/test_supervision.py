"""The supervision timeout of a Bluetooth connection, against a table of smallest legal values.

Bluetooth Core Specification, Vol 6 Part B, section 4.5.2. The rule is P (a text that quotes it was
read, not the specification), the values were computed from it (C); marks as in conftest.py.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

import modecheck
from modecheck.supervision import AgainstTheRule

MS = Fraction(1, 1000)

SMALLEST = [("7.5 ms", 0, 100), ("100 ms", 0, 210), ("100 ms", 4, 1010), ("400 ms", 4, 4010)]


@pytest.mark.parametrize(("interval", "latency", "milliseconds"), SMALLEST)
def test_the_smallest_timeout_is_that_of_the_table(
    interval: str, latency: int, milliseconds: int
) -> None:
    """Strictly longer than the silence, a multiple of 10 ms, at least 100 ms; exactly so."""
    assert modecheck.smallest_supervision_timeout(interval, latency) == milliseconds * MS


@pytest.mark.parametrize(("interval", "latency", "milliseconds"), SMALLEST)
def test_the_smallest_timeout_is_allowed_and_the_next_smaller_is_not(
    interval: str, latency: int, milliseconds: int
) -> None:
    """Check and search agree at the boundary."""
    assert modecheck.check_supervision_timeout(milliseconds * MS, interval, latency) > 0
    with pytest.raises(AgainstTheRule):
        modecheck.check_supervision_timeout((milliseconds - 10) * MS, interval, latency)


def test_no_timeout_is_long_enough_for_four_seconds_and_three_missed() -> None:
    """(1 + 3) * 4 s * 2 is 32 s, and the longest timeout is not longer than that."""
    with pytest.raises(
        AgainstTheRule, match=r"no timeout up to 32 s is longer than 32 s .*4\.5\.2"
    ):
        modecheck.smallest_supervision_timeout("4 s", 3)
    with pytest.raises(AgainstTheRule, match="not longer"):
        modecheck.check_supervision_timeout("32 s", "4 s", 3)


@pytest.mark.parametrize(
    ("timeout", "interval", "latency", "expected"),
    [
        ("90 ms", "7.5 ms", 0, "90 ms is not between 100 ms and 32 s"),
        ("33 s", "7.5 ms", 0, "33000 ms is not between 100 ms and 32 s"),
        ("105 ms", "7.5 ms", 0, "105 ms is not a multiple of 10 ms"),
        ("200 ms", "100 ms", 0, "200 ms is not longer than .*, which is 200 ms"),
        ("1 s", "5 ms", 0, "an interval of 5 ms is not between 7.5 ms and 4 s"),
        ("1 s", "8 ms", 0, "an interval of 8 ms is not a multiple of 1.25 ms"),
        ("1 s", "7.5 ms", 500, "a latency of 500 is not between 0 and 499"),
        ("1 s", "7.5 ms", -1, "a latency of -1 is not between 0 and 499"),
    ],
)
def test_the_error_tells_which_part_of_the_rule_is_broken(
    timeout: str, interval: str, latency: int, expected: str
) -> None:
    """With the offending value, the bound and the section."""
    with pytest.raises(AgainstTheRule, match=expected) as caught:
        modecheck.check_supervision_timeout(timeout, interval, latency)
    assert "Vol 6 Part B section 4.5.2" in str(caught.value)


def test_a_newer_revision_may_allow_a_shorter_interval() -> None:
    """The floor is an argument; the step of 1.25 ms stays."""
    assert modecheck.smallest_supervision_timeout("5 ms", shortest_interval="3.75 ms") == 100 * MS


def test_a_time_that_is_not_exact_is_refused() -> None:
    """7.5 ms has no exact float in seconds, and a float would decide at the boundary by chance."""
    with pytest.raises(TypeError, match="not exact"):
        modecheck.smallest_supervision_timeout(0.0075)  # type: ignore[arg-type]
    with pytest.raises(AgainstTheRule, match="not a duration"):
        modecheck.smallest_supervision_timeout("soon")
