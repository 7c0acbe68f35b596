"""Automata that judge runs: what an observer's table is made from.

A run is a sequence of positions; at each, some atoms hold. An automaton reads the valuations, the
one of the initial state first, and rejects a run in one of two ways: it reaches a bad state, or
from some position on it stays alive and visits the states `again` infinitely often.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Automaton:
    """A deterministic automaton over `atoms` atoms; bit `k` of a valuation is atom `k`.

    From `state` it goes on to `table[state << atoms | valuation]`. `bad` maps bad states to a word
    for what went wrong. It may take `choices` (from, to) between two positions, but never has to.
    `triggers` are the entries of the table at which the requirement is actually tested; `unsure`
    are states in which it has lost count; in those in `counting`, the time since entry is measured.
    """

    states: int
    start: int
    atoms: int
    table: tuple[int, ...]
    bad: dict[int, str]
    alive: frozenset[int]
    again: frozenset[int]
    triggers: frozenset[int]
    choices: tuple[tuple[int, int], ...] = ()
    unsure: frozenset[int] = frozenset()
    counting: frozenset[int] = frozenset()

    def after(self, state: int, valuation: int) -> int:
        """The state after a position."""
        return self.table[state << self.atoms | valuation]


@dataclass(slots=True)
class AutomatonSketch:
    """An automaton given as a function on states of any type; `build` numbers the reachable ones.

    `step` gives the next state for (state, valuation). The others are predicates.
    """

    start: Hashable
    atoms: int
    step: Callable[[Hashable, int], Hashable]
    bad: Callable[[Hashable], str] = field(default=lambda _: "")
    alive: Callable[[Hashable], bool] = field(default=lambda _: False)
    again: Callable[[Hashable], bool] = field(default=lambda _: True)
    triggered: Callable[[Hashable, int], bool] = field(default=lambda _state, _valuation: False)
    choices: Callable[[Hashable], Iterable[Hashable]] = field(default=lambda _: ())
    unsure: Callable[[Hashable], bool] = field(default=lambda _: False)
    counting: Callable[[Hashable], bool] = field(default=lambda _: False)

    def build(self) -> Automaton:
        """Numbers states in the order in which they are found, the initial state first."""
        numbers: dict[Hashable, int] = {self.start: 0}
        order: list[Hashable] = [self.start]
        table: list[int] = []
        choices: list[tuple[int, int]] = []

        def number(state: Hashable) -> int:
            if state not in numbers:
                numbers[state] = len(order)
                order.append(state)
            return numbers[state]

        valuations = range(1 << self.atoms)
        for state in order:  # grows while it is gone through
            table += [number(self.step(state, valuation)) for valuation in valuations]
            choices += [(numbers[state], number(other)) for other in self.choices(state)]
        return Automaton(
            states=len(order),
            start=0,
            atoms=self.atoms,
            table=tuple(table),
            bad={numbers[state]: self.bad(state) for state in order if self.bad(state)},
            alive=self._numbers(order, self.alive),
            again=self._numbers(order, lambda state: self.alive(state) and self.again(state)),
            triggers=frozenset(
                numbers[state] << self.atoms | valuation
                for state in order
                for valuation in valuations
                if self.triggered(state, valuation)
            ),
            choices=tuple(choices),
            unsure=self._numbers(order, self.unsure),
            counting=self._numbers(order, self.counting),
        )

    def _numbers(
        self, order: Sequence[Hashable], holds: Callable[[Hashable], bool]
    ) -> frozenset[int]:
        return frozenset(number for number, state in enumerate(order) if holds(state))
