"""A variable of a chip, and the values with which it may start."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.model.places import Place
from modecheck.model.values import ValueType


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable of a chip; `length` is 0, or the number of items of a list.

    `start` holds one value, or one for each item. `choices` holds for each of them all values with
    which it may start, the one in `start` first; it is empty if there is only `start`.
    """

    name: str
    type: ValueType
    start: tuple[int, ...]
    length: int
    persistent: bool
    place: Place
    choices: tuple[tuple[int, ...], ...] = ()

    @property
    def starts(self) -> tuple[tuple[int, ...], ...]:
        """For its value, or each of its items, all values with which it may start."""
        return self.choices or tuple((value,) for value in self.start)

    @property
    def start_text(self) -> str:
        """How each of its items starts, in a few words."""
        return ", ".join(map(self._spelled, self.starts))

    @property
    def short_start_text(self) -> str:
        """The same, with what is the same for several items once."""
        return ", ".join(dict.fromkeys(map(self._spelled, self.starts)))

    def _spelled(self, values: tuple[int, ...]) -> str:
        if len(values) > 2 and len(values) == self.type.high - self.type.low + 1:
            return "any"
        return " or ".join(map(self.type.spell, values))
