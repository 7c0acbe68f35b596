"""Runs of whole ticks: a way of zones, taken step by step and tick by tick.

The plain interpreter takes them.
That it can be taken is the proof that what zones have found is real.
"""

from __future__ import annotations

from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.zones.schedules import NoSchedule, Schedule
from modecheck.engine.zones.zone_exploration import TICK, ZoneGraph
from modecheck.product.ir import Product

Run = list[tuple[int, State]]
"""Labels with the states behind them."""


class Runner:
    """Takes runs of one product."""

    def __init__(self, product: Product) -> None:
        assert product.time is not None
        self._product = product
        self._interpreter = Interpreter(product)
        self._tick = product.time.label
        clocks = {ticking.field for ticking in product.time.tickings}
        self._compared = [n for n in range(len(product.fields)) if n not in clocks]

    def run(self, graph: ZoneGraph, schedule: Schedule, moments: list[int]) -> Run:
        """The run whose steps happen at these moments, and time up to the last of them. Raises
        `NoSchedule` when it cannot be taken.
        """
        run: Run = []
        state, now = self._product.initial, 0
        for number, then in zip(schedule.trail[1:], moments[1:], strict=False):
            node = graph.nodes[number]
            state = self._wait(run, state, then - now)
            now = then
            if node.came.label != TICK:
                state = self._step(run, state, node.came.label, node.situation.state)
        self._wait(run, state, moments[-1] - now)
        return run

    def _wait(self, run: Run, state: State, ticks: int) -> State:
        """Let time pass; where a tick changes nothing, there is none and none is needed."""
        for _ in range(ticks):
            steps = self._interpreter.steps(state)
            after = next((step.after for step in steps if step.label == self._tick), None)
            if after is None:
                break
            state = after
            run.append((self._tick, state))
        return state

    def _step(self, run: Run, state: State, label: int, wanted: State) -> State:
        """Take a step to where all but the clocks is as wanted; it is added to the run."""
        for step in self._interpreter.steps(state):
            if step.label == label and step.after is not None:
                after = step.after
                if all(after[field] == wanted[field] for field in self._compared):
                    run.append((label, after))
                    return after
        raise NoSchedule
