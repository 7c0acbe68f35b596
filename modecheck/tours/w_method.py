"""Words that reveal wrong outputs and wrong next states of a Mealy machine (Chow 1978, the
W-method).

The machine has to be minimal and every state reachable. Then any machine with at most as many
states (plus `extra`) that responds to all test words as the machine does, from a reliable reset, is
equivalent to it. That is proved; the number of words is not the smallest possible.
"""

from __future__ import annotations

from itertools import combinations, product

from modecheck.tours.mealy import Mealy, Word, access_words, partitions


class NotMinimal(ValueError):
    """Some states cannot be told apart, or cannot be reached."""


def characterising_set(machine: Mealy) -> tuple[Word, ...]:
    """W: for every two states a shortest word to which they respond differently: of several, the
    first in the order of inputs. Raises `NotMinimal`.
    """
    tables = partitions(machine)
    if len(set(tables[-1])) < machine.size:
        raise NotMinimal("some states cannot be told apart")
    pairs = combinations(range(machine.size), 2)
    return _in_order({_telling_word(machine, tables, one, other) for one, other in pairs})


def _telling_word(machine: Mealy, tables: list[list[int]], one: int, other: int) -> Word:
    length = next(n for n, blocks in enumerate(tables) if blocks[one] != blocks[other])
    word: list[int] = []
    for left in range(length - 1, -1, -1):
        blocks = tables[left]
        for number in range(len(machine.inputs)):
            first, second = machine.following[one][number], machine.following[other][number]
            if blocks[first] != blocks[second]:
                word.append(number)
                one, other = first, second
                break
    outputs = zip(machine.outputs[one], machine.outputs[other], strict=True)
    word.append(next(number for number, (a, b) in enumerate(outputs) if a != b))
    return tuple(word)


def state_cover(machine: Mealy) -> tuple[Word, ...]:
    """A shortest word to each state. Raises `NotMinimal` when a state cannot be reached."""
    words = access_words(machine)
    if len(words) < machine.size:
        raise NotMinimal("some states cannot be reached")
    return _in_order(set(words.values()))


def transition_cover(machine: Mealy) -> tuple[Word, ...]:
    """P: the empty word, and for each state and input a shortest word to the state and
    the input.
    """
    inputs = range(len(machine.inputs))
    return _in_order({(), *((*word, i) for word in state_cover(machine) for i in inputs)})


def words_to_run(machine: Mealy, *, extra: int = 0) -> tuple[Word, ...]:
    """P·W, each word once; for `extra` more states, also with up to that many inputs in between."""
    inputs = range(len(machine.inputs))
    between = [word for length in range(extra + 1) for word in product(inputs, repeat=length)]
    telling = characterising_set(machine) or ((),)
    return _in_order(
        {
            (*first, *middle, *last)
            for first in transition_cover(machine)
            for middle in between
            for last in telling
        }
    )


def most_words(machine: Mealy, *, extra: int = 0) -> int:
    """A bound on the number of words that `words_to_run` makes."""
    inputs = len(machine.inputs)
    between: int = sum(inputs**length for length in range(extra + 1))
    return len(transition_cover(machine)) * between * max(len(characterising_set(machine)), 1)


def without_prefixes(words: tuple[Word, ...]) -> tuple[Word, ...]:
    """The words that are no prefix of another: running these runs all."""
    beginnings = {word[:length] for word in words for length in range(len(word))}
    return tuple(word for word in words if word not in beginnings)


def _in_order(words: set[Word]) -> tuple[Word, ...]:
    return tuple(sorted(words, key=lambda word: (len(word), word)))
