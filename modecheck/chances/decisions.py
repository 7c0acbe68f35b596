"""A product as a Markov decision process: a choice without weights may be made in any way, and so
may that of a start.
"""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.chances.chain import MOST_STATES
from modecheck.chances.interval_iteration import (
    Alternative,
    Bounds,
    greatest_chance,
    least_chance,
)
from modecheck.chances.resolving import NONE, ONE, Declined, Resolver, Weighed
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.product.ir import Product


@dataclass(frozen=True, slots=True)
class DecisionProcess:
    """States from 0, each with its alternatives. The choice behind the last state is that of a
    start. Not `complete`: too many.
    """

    product: Product
    states: tuple[State, ...]
    choices: tuple[tuple[Alternative, ...], ...]
    complete: bool

    def bounds(self, condition: str) -> tuple[Bounds, Bounds]:
        """The least and the greatest chance of ever reaching a condition of the product."""
        expression = self.product.conditions[condition]
        interpreter = Interpreter(self.product)
        goal = {
            number
            for number, state in enumerate(self.states)
            if interpreter.condition(expression, state)
        }
        start = len(self.states)
        return least_chance(self.choices, goal, start), greatest_chance(self.choices, goal, start)


def decisions_of(product: Product, most: int = MOST_STATES) -> DecisionProcess:
    """The process of a product, states in breadth-first order."""
    interpreter, resolver = Interpreter(product), Resolver(product)
    order: list[tuple[State, Declined]] = [(state, NONE) for state in product.first_states]
    numbers = {state: number for number, state in enumerate(order)}
    starts = tuple(((number, ONE),) for number in numbers.values())
    choices: list[tuple[Alternative, ...]] = []

    def number_of(one: Weighed) -> int:
        if one.step.after is None:
            return -1
        behind = one.step.after, one.declined
        if behind not in numbers:
            numbers[behind] = len(order)
            order.append(behind)
        return numbers[behind]

    for state, declined in order:
        if len(order) > most:
            break
        found = resolver.alternatives(state, interpreter.steps(state), declined)
        choices.append(
            tuple(
                tuple((number_of(one), one.probability) for one in alternative)
                for alternative in found
            )
        )
    complete = len(choices) == len(order)
    states = tuple(state for state, _ in order)
    return DecisionProcess(product, states, (*choices, starts), complete)
