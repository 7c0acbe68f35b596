"""Search from any state for the nearest place where something shows: breadth first, bounded."""

from __future__ import annotations

from typing import Protocol

from modecheck.engine.reference.plain import Interpreter, State
from modecheck.engine.reference.predecessors import path_to
from modecheck.engine.search.walk_targets import AT, Judge, Run, WalkTarget, WatchList, is_target
from modecheck.product.ir import Product


class Searcher(Protocol):
    """Searches in one product."""

    product: Product
    quick: bool
    """Whether it is worth asking for large bounds."""

    def nearest(self, start: State, wanted: WalkTarget, *, bound: int) -> Run | None:
        """A shortest run from `start` to what is wanted; None if the first `bound` states do not
        lead there.
        """


class PlainSearcher:
    """Searches on the interpreter."""

    quick = False

    def __init__(self, product: Product, watched: WatchList) -> None:
        self.product = product
        self._interpreter = Interpreter(product)
        self._judge = Judge(product, watched, self._interpreter)

    def nearest(self, start: State, wanted: WalkTarget, *, bound: int) -> Run | None:
        """A shortest run from `start` to what is wanted."""
        if self._shows_in(start, wanted):
            return []
        came: dict[State, tuple[State, int] | None] = {start: None}
        order = [start]
        for state in order:  # grows while it is gone through
            steps = self._interpreter.steps(state)
            for target, number in self._judge.in_steps(state, steps):
                if is_target(target, wanted):
                    last = [(steps[number].label, steps[number].after)] if number >= 0 else []
                    return [*path_to(came, state), *last]
            for step in steps:
                if step.after is not None and step.after not in came and len(order) < bound:
                    came[step.after] = (state, step.label)
                    order.append(step.after)
                    if wanted.kind == AT and self._shows_in(step.after, wanted):
                        return [*path_to(came, step.after)]
        return None

    def _shows_in(self, state: State, wanted: WalkTarget) -> bool:
        if wanted.kind == AT:
            return all(state[field] == value for field, value in wanted.pattern)
        return wanted in self._judge.in_state(state)
