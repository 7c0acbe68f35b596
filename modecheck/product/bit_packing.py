"""States in 64-bit words. No field spans two words, so reading one takes a shift and a mask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.product.ir import Field

WORD_BITS = 63
"""Bits used in a word. One is left free, so that all ones can mark an empty slot of a table."""


@dataclass(frozen=True, slots=True)
class WordPlace:
    """Where a field lies; its stored value is the value minus `low`."""

    word: int
    shift: int
    bits: int
    low: int

    @property
    def mask(self) -> int:
        return (1 << self.bits) - 1


@dataclass(frozen=True, slots=True)
class WordLayout:
    """The place of every field, and how many words a state takes (at least one)."""

    places: tuple[WordPlace, ...]
    words: int

    def pack(self, state: Sequence[int]) -> tuple[int, ...]:
        """The words of a state."""
        packed = [0] * self.words
        for place, value in zip(self.places, state, strict=True):
            packed[place.word] |= (value - place.low) << place.shift
        return tuple(packed)

    def unpack(self, words: Sequence[int]) -> tuple[int, ...]:
        """The state in these words."""
        return tuple(
            (int(words[place.word]) >> place.shift & place.mask) + place.low
            for place in self.places
        )


def word_layout(fields: Sequence[Field]) -> WordLayout:
    """First fit in the order of the fields."""
    used: list[int] = [0]
    places = []
    for field in fields:
        word = next((n for n, bits in enumerate(used) if bits + field.bits <= WORD_BITS), len(used))
        if word == len(used):
            used.append(0)
        places.append(WordPlace(word, used[word], field.bits, field.low))
        used[word] += field.bits
    return WordLayout(tuple(places), len(used))
