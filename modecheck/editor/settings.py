"""What an editor may set: the bounds of the check that follows each change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

SECTION = "modecheck"
"""The name under which an editor keeps these settings."""


@dataclass(frozen=True, slots=True)
class Settings:
    """`check` is whether devices are checked at all, `states` and `seconds` the bounds of a check,
    `delay` the seconds without a change after which it begins.
    """

    check: bool = True
    states: int = 200_000
    seconds: float = 20.0
    delay: float = 1.0


def settings_from(given: object, before: Settings | None = None) -> tuple[Settings, list[str]]:
    """Settings with what is given laid over them, and what is wrong with it, in sentences. A value
    that is wrong leaves the setting as it was.
    """
    settings, wrong = before or Settings(), list[str]()
    if given is None:
        return settings, wrong
    if isinstance(given, Mapping) and isinstance(given.get(SECTION), Mapping):
        given = given[SECTION]
    if not isinstance(given, Mapping):
        return settings, [f"the settings are {given!r}; expected a mapping"]
    for name, value in given.items():
        expected = _EXPECTED.get(str(name))
        if expected is None:
            wrong.append(f"unknown setting {name!r}; expected one of {', '.join(_EXPECTED)}")
        elif not _fits(str(name), value):
            wrong.append(f"{name!r} cannot be {value!r}; expected {expected}")
        else:
            changed: dict[str, Any] = {str(name): value}
            settings = replace(settings, **changed)
    return settings, wrong


_EXPECTED = {
    "check": "true or false",
    "states": "an integer of at least 1",
    "seconds": "a number greater than 0",
    "delay": "a number of at least 0",
}


def _fits(name: str, value: object) -> bool:
    if name == "check":
        return isinstance(value, bool)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    if name == "states":
        return isinstance(value, int) and value >= 1
    return value >= 0 if name == "delay" else value > 0
