"""The part of a product that a page holds: states, and the steps that lead from them.

States of scenarios come first, then the states around the start, nearest first, as far as the
bounds allow. A state whose steps are not held is an edge of the walk, and is marked as one.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from modecheck.engine.reference.plain import Interpreter, State
from modecheck.product.ir import Product
from modecheck.report.page.tellings import Telling, telling
from modecheck.scenario.traces import Trace

MOST_STATES = 6_000
"""States with their steps in one page: enough for all states of a small product."""

MOST_BYTES = 1_200_000
"""Approximate size of the states and steps in one page, which must open within a second."""

NOWHERE = -1
"""In place of the number of a state after a failing step."""


@dataclass(frozen=True, slots=True)
class Trodden:
    """A step of a trace: its telling, and the state after it or `NOWHERE`."""

    telling: int
    state: int


@dataclass(frozen=True, slots=True)
class WalkLimits:
    """Upper limits on what a walk holds."""

    states: int = MOST_STATES
    size: int = MOST_BYTES


class PageWalk:
    """Grows as traces are added and states are expanded; number 0 is the initial state. Where there
    are several of them, it is no state yet: its steps are how the device may begin.

    `states[n]` is `[origin, modes, field, value, field, value, ...]`: how it differs from an
    earlier state, and as bits the modes that it is in. `steps[n]` is `[telling, state, ...]`, or
    None where they are not held. `tellings` numbers the tellings, in order.
    """

    def __init__(self, product: Product) -> None:
        self.product = product
        self.states: list[list[int]] = []
        self.steps: list[list[int] | None] = []
        self.tellings: dict[Telling, int] = {}
        self._interpreter = Interpreter(product)
        self._modes = [product.conditions[f"mode:{name}"] for name in product.device.modes]
        self._numbers: dict[State, int] = {}
        self._vectors: list[State] = []
        self._size = 0
        self._add(product.initial, 0)
        if not product.starts:
            self._numbers[product.initial] = 0

    @property
    def held(self) -> int:
        """How many states have their steps."""
        return sum(steps is not None for steps in self.steps)

    def lay(self, trace: Trace) -> list[Trodden]:
        """The steps of a trace, whose states the walk holds from now on."""
        trodden, here = [], 0
        for taken in trace.steps:
            told = self._telling(telling(self.product, taken.step))
            after = taken.step.after
            here = NOWHERE if after is None else self._number(after, here)
            trodden.append(Trodden(told, here))
        return trodden

    def grow(self, room: WalkLimits) -> None:
        """Expand the states that are held, in order, and those found by that, as far as the
        limits allow.
        """
        expanded = number = 0
        while number < len(self.states) and expanded < room.states and self._size < room.size:
            if self.steps[number] is None:
                self._expand(number)
                expanded += 1
            number += 1

    def _expand(self, number: int) -> None:
        steps: list[int] = []
        starts = self._interpreter.starts() if number == 0 else []
        for step in starts or self._interpreter.steps(self._vectors[number]):
            told = self._telling(telling(self.product, step))
            after = NOWHERE if step.after is None else self._number(step.after, number)
            steps += [told, after]
        self.steps[number] = steps
        self._size += 5 * len(steps)

    def _number(self, state: State, origin: int) -> int:
        if state not in self._numbers:
            self._numbers[state] = self._add(state, origin)
        return self._numbers[state]

    def _add(self, state: State, origin: int) -> int:
        number = len(self._vectors)
        self._vectors.append(state)
        before = self._vectors[origin]
        changed = [
            part
            for position, value in enumerate(state)
            if value != before[position]
            for part in (position, value)
        ]
        self.states.append([origin, self._modes_in(state), *changed])
        self.steps.append(None)
        self._size += 8 + 3 * len(changed)
        return number

    def _modes_in(self, state: State) -> int:
        holds = self._interpreter.condition
        return sum(1 << bit for bit, mode in enumerate(self._modes) if holds(mode, state))

    def _telling(self, told: Telling) -> int:
        known = self.tellings.get(told)
        if known is None:
            known = self.tellings[told] = len(self.tellings)
            self._size += len(json.dumps(told))
        return known
