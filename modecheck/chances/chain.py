"""A product as a Markov chain whose steps may take time: states, arcs, and assumptions.

Kemeny & Snell 1960, Finite Markov Chains (from memory), for chains; a step that takes time
makes it a semi-Markov process, whose means and long-run shares need only the mean durations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from modecheck.chances.resolving import NONE, Declined, Resolver, left_out
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.product.ir import Product

MOST_STATES = 20_000
"""States in a chain: the interpreter produces them, and sparse solving stays within seconds."""


class MarkovStep(NamedTuple):
    """A step of the chain. `target` is -1 for a step that fails; `duration` in seconds."""

    target: int
    probability: Fraction
    duration: Fraction
    events: int


@dataclass(frozen=True, slots=True)
class Chain:
    """States from 0, the first of them the `starts`. A state without arcs is never left. `complete`
    is False if `MOST_STATES`, or the requested bound, was hit: then nothing may be computed from
    it.
    """

    product: Product
    states: tuple[State, ...]
    arcs: tuple[tuple[MarkovStep, ...], ...]
    assumed: int
    races: int
    left_out: tuple[str, ...]
    complete: bool
    starts: int = 1

    def holds(self, condition: str) -> Callable[[int], bool]:
        """Whether a condition of the product holds in a state, by the state's number."""
        interpreter = Interpreter(self.product)
        expression = self.product.conditions[condition]
        return lambda number: interpreter.condition(expression, self.states[number])

    @property
    def timed(self) -> bool:
        """Whether any step takes time."""
        return any(arc.duration for arcs in self.arcs for arc in arcs)


def chain_of(product: Product, most: int = MOST_STATES) -> Chain:
    """The chain of a product, states in breadth-first order. With a clock, a state counts once for
    each set of steps that did not happen at its moment.
    """
    interpreter, resolver = Interpreter(product), Resolver(product)
    order: list[tuple[State, Declined]] = [(state, NONE) for state in product.first_states]
    numbers = {state: number for number, state in enumerate(order)}
    rows: list[tuple[MarkovStep, ...]] = []
    assumed = races = 0
    for state, declined in order:
        if len(order) > most:
            break
        choice = resolver.choice(state, interpreter.steps(state), declined)
        assumed, races = assumed + choice.assumed, races + choice.race
        row = []
        for one in choice.weighed:
            target = -1
            if one.step.after is not None:
                behind = one.step.after, one.declined
                target = numbers.setdefault(behind, len(order))
                if target == len(order):
                    order.append(behind)
            row.append(MarkovStep(target, one.probability, one.duration, one.step.events))
        rows.append(tuple(row))
    complete = len(rows) == len(order)
    states, starts = tuple(state for state, _ in order), len(product.first_states)
    return Chain(product, states, tuple(rows), assumed, races, left_out(product), complete, starts)
