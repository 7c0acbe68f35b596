"""Mealy machines: every state answers every input with an output and a next state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Word = tuple[int, ...]
"""Numbers of inputs, one after the other."""


@dataclass(frozen=True, slots=True)
class Mealy:
    """States are numbers from 0, the initial one. `following[s][i]` is the state and
    `outputs[s][i]` the output after input `i` in state `s`.
    """

    inputs: tuple[str, ...]
    following: tuple[tuple[int, ...], ...]
    outputs: tuple[tuple[str, ...], ...]

    @property
    def size(self) -> int:
        return len(self.following)

    def run(self, word: Sequence[int], state: int = 0) -> list[str]:
        """The outputs for a word."""
        told = []
        for number in word:
            told.append(self.outputs[state][number])
            state = self.following[state][number]
        return told

    def after(self, word: Sequence[int], state: int = 0) -> int:
        """The state that a word leads to."""
        for number in word:
            state = self.following[state][number]
        return state


def access_words(machine: Mealy) -> dict[int, Word]:
    """For each reachable state a shortest word that leads there: of several, the first in the order
    of inputs.
    """
    words: dict[int, Word] = {0: ()}
    order = [0]
    for state in order:  # grows while it is gone through
        for number, target in enumerate(machine.following[state]):
            if target not in words:
                words[target] = (*words[state], number)
                order.append(target)
    return words


def partitions(machine: Mealy) -> list[list[int]]:
    """Blocks of states that no word of length 1, 2, ... tells apart, up to the length at which they
    no longer change (Moore 1956). Each partition gives for every state the number of its block.
    """
    rows: list[object] = [tuple(row) for row in machine.outputs]
    found = [_numbered(rows)]
    while True:
        last = found[-1]
        rows = [
            (last[state], *(last[target] for target in machine.following[state]))
            for state in range(machine.size)
        ]
        finer = _numbered(rows)
        if finer == last:
            return found
        found.append(finer)


def _numbered(rows: Sequence[object]) -> list[int]:
    """Equal rows get equal numbers, in the order in which they come first."""
    numbers: dict[object, int] = {}
    return [numbers.setdefault(row, len(numbers)) for row in rows]


@dataclass(frozen=True, slots=True)
class Minimised:
    """The smallest machine equivalent to another; `alike[b]` are the states of the other that state
    `b` stands for.
    """

    machine: Mealy
    alike: tuple[tuple[int, ...], ...]


def minimised(machine: Mealy) -> Minimised:
    """Only reachable states, with those that no word tells apart merged."""
    reached = access_words(machine)
    last = partitions(machine)[-1]
    blocks: dict[int, list[int]] = {}
    for state in reached:
        blocks.setdefault(last[state], []).append(state)
    number_of = {block: number for number, block in enumerate(blocks)}
    firsts = [states[0] for states in blocks.values()]
    smaller = Mealy(
        machine.inputs,
        tuple(tuple(number_of[last[t]] for t in machine.following[s]) for s in firsts),
        tuple(machine.outputs[state] for state in firsts),
    )
    return Minimised(smaller, tuple(tuple(sorted(states)) for states in blocks.values()))
