"""Words that reveal wrong next states and outputs of one chip, with the expected responses."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.product.ir import Product
from modecheck.tours.mealy import Word, minimised
from modecheck.tours.own_machine import OwnMachine, WhyNot, own_machine
from modecheck.tours.w_method import (
    characterising_set,
    most_words,
    without_prefixes,
    words_to_run,
)

MOST_WORDS = 5_000
"""More words than this are impractical on a bench."""
MOST_MADE = 200 * MOST_WORDS
"""More words than this are not even made: leaving out the beginnings of others does not save that
many.
"""


@dataclass(frozen=True, slots=True)
class StimulusResponse:
    """An input for the chip, and the response that it must give."""

    told: str
    answer: str


@dataclass(frozen=True, slots=True)
class ChipWords:
    """A chip's test. `states` are those that words can tell apart, each with the names of the
    equivalent states that it stands for; `telling` is W; `words` are run from the initial state,
    each after a reset. They expose every chip with at most `extra` states more than `states`.
    """

    chip: str
    inputs: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    telling: tuple[tuple[str, ...], ...]
    words: tuple[tuple[StimulusResponse, ...], ...]
    extra: int = 0


def words_for(product: Product, chip: str, *, extra: int = 0) -> ChipWords | WhyNot:
    """The words of the W-method for a chip that may have `extra` states more than the model, or why
    there are none.
    """
    found = own_machine(product, chip)
    if isinstance(found, WhyNot):
        return found
    return _words(found, extra)


def _words(found: OwnMachine, extra: int) -> ChipWords | WhyNot:
    result = minimised(found.machine)
    machine = result.machine
    if machine.size == 1 and found.machine.size > 1:
        reason = "it responds alike in all its states: its outputs do not tell them apart"
        return WhyNot(found.chip, (reason,))
    if most_words(machine, extra=extra) > MOST_MADE:
        reason = f"it would need far more than {MOST_WORDS:,} words with {extra} more states"
        return WhyNot(found.chip, (reason,))
    words = without_prefixes(words_to_run(machine, extra=extra))
    if len(words) > MOST_WORDS:
        return WhyNot(found.chip, (f"it needs {len(words):,} words, more than {MOST_WORDS:,}",))

    def named(word: Word) -> tuple[str, ...]:
        return tuple(machine.inputs[number] for number in word)

    def answered(word: Word) -> tuple[StimulusResponse, ...]:
        pairs = zip(named(word), machine.run(word), strict=True)
        return tuple(StimulusResponse(told, answer) for told, answer in pairs)

    return ChipWords(
        chip=found.chip,
        inputs=machine.inputs,
        states=tuple(tuple(found.states[s] for s in alike) for alike in result.alike),
        telling=tuple(named(word) for word in characterising_set(machine)),
        words=tuple(answered(word) for word in words),
        extra=extra,
    )
