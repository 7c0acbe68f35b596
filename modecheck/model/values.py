"""The types of values: what a variable can hold, and how its values are written."""

from __future__ import annotations

from dataclasses import dataclass

MOST_KEYS = 7
"""Keys that `bond: true` distinguishes: an old and a new bond, and a few peers."""


@dataclass(frozen=True, slots=True)
class ValueType:
    """A range of integers; `words` name the values from `low` on, if they have names.

    `kind` is one of "truth", "number", "word", "bond".
    """

    kind: str
    low: int
    high: int
    words: tuple[str, ...] = ()

    def spell(self, value: int) -> str:
        """The value as written in a model."""
        position = value - self.low
        return self.words[position] if 0 <= position < len(self.words) else str(value)

    def value_of(self, word: str) -> int | None:
        """The value that `word` names, or None."""
        return self.low + self.words.index(word) if word in self.words else None

    def holds(self, value: int) -> bool:
        return self.low <= value <= self.high

    @property
    def first(self) -> int:
        """Where a variable starts unless the model says otherwise."""
        return 0 if self.holds(0) else self.low

    def __str__(self) -> str:
        if self.kind == "word":
            return f"one of {', '.join(self.words)}"
        if self.kind == "bond":
            return f"none or a key from 1 to {self.high}"
        return (
            "true or false" if self.kind == "truth" else f"a number from {self.low} to {self.high}"
        )


def product_bounds(operator: str, one: tuple[int, int], two: tuple[int, int]) -> tuple[int, int]:
    """Bounds of `*`, `//` or `%` of two numbers within bounds; no divisor counts as 0."""
    if operator == "*":
        corners = [first * second for first in one for second in two]
        return min(corners), max(corners)
    divisors = {bound for bound in (*two, -1, 1) if two[0] <= bound <= two[1]} - {0}
    if operator == "//":
        corners = [first // second for first in one for second in divisors or {1}]
        return min(corners), max(corners)
    least, most = min(0, two[0] + 1), max(0, two[1] - 1)
    return (max(least, 0) if one[0] >= 0 and two[0] > 0 else least), (
        min(most, one[1]) if one[0] >= 0 and two[0] > 0 else most
    )


TRUTH = ValueType("truth", 0, 1, ("false", "true"))


def number_type(low: int, high: int) -> ValueType:
    return ValueType("number", low, high)


def word_type(words: tuple[str, ...]) -> ValueType:
    return ValueType("word", 0, len(words) - 1, words)


def bond_type(keys: int = MOST_KEYS) -> ValueType:
    return ValueType("bond", 0, keys, ("none",))
