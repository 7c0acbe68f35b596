"""Times, currents and capacities as text: exact, and in a unit that people would choose."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from modecheck.model.quantities import AMPERE_HOURS, AMPERES


def decimal_text(value: Fraction) -> str:
    """A number with a finite decimal expansion, such as 0.125, as all numbers of a model are."""
    digits, scaled = 0, value
    while scaled.denominator != 1:
        scaled *= 10
        digits += 1
        assert digits < 40, "no text of a model is a number with an endless expansion"
    text = str(abs(scaled.numerator)).rjust(digits + 1, "0")
    sign = "-" if value < 0 else ""
    return sign + (f"{text[:-digits]}.{text[-digits:]}" if digits else text)


def _with_unit(value: Fraction | None, units: Mapping[str, Fraction]) -> str:
    """With the largest unit of which it is at least one, or the smallest there is."""
    if value is None:
        return ""
    known = sorted(set(units.items()), key=lambda one: -one[1])
    unit, size = next((one for one in known if value >= one[1]), known[-1])
    return f"{decimal_text(value / size)} {unit}"


def amperes_text(value: Fraction | None) -> str:
    """`3 mA`; nothing for None."""
    return _with_unit(value, {unit: size for unit, size in AMPERES.items() if unit != "µA"})


def ampere_hours_text(value: Fraction | None) -> str:
    """`500 mAh`; nothing for None."""
    return _with_unit(value, AMPERE_HOURS)


def delay_text(seconds: Fraction) -> str:
    """A time in seconds as a delay of SCXML (a time of CSS 2: a number and `s` or `ms`)."""
    if seconds >= 1 and (seconds * 10).denominator == 1:
        return f"{decimal_text(seconds)}s"
    return f"{decimal_text(seconds * 1000)}ms"
