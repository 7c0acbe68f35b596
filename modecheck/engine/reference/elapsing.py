"""How time goes on in a step: when it may, how far, and which counts go on with it."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.engine.contract.space import State
from modecheck.engine.reference.happenings import Passed
from modecheck.engine.reference.step_draft import StepDraft
from modecheck.engine.reference.system_actions import comes_first
from modecheck.product.evaluation import Evaluator
from modecheck.product.ir import Product, Ticking

NO_STOP = 1 << 40
"""More ticks than any count has to go."""


class Elapsing:
    """The time of one product, if it counts any."""

    def __init__(self, product: Product, evaluator: Evaluator) -> None:
        self._product = product
        self._holds = evaluator.holds

    def waits(self, state: State, labels: Sequence[int]) -> bool:
        """Whether time cannot go on in a state whose other steps have these labels: something else
        has to happen first.
        """
        time = self._product.time
        if time is None or any(comes_first(self._product, label, state) for label in labels):
            return True
        return any(self._holds(due.holds, state) for due in time.due)

    def elapsed(
        self, state: State, labels: Sequence[int], ticks: int | None = None
    ) -> StepDraft | None:
        """Time goes on by so many ticks, or as far as one step takes it; None where it cannot."""
        time = self._product.time
        if time is None or self.waits(state, labels):
            return None
        running = [one for one in time.tickings if self._holds(one.runs, state)]
        most = 1
        if time.accelerated and not labels:
            stops = (ticks_to_stop(one, state[one.field]) for one in running)
            most = min(stops, default=NO_STOP)
        passing = most if ticks is None else ticks
        if not 0 < passing <= most:
            return None
        draft = StepDraft(list(state), log=[Passed(passing)])
        for ticking in running:
            count = state[ticking.field]
            draft.now[ticking.field] = count + passing if count < ticking.last else ticking.behind
        return draft


def ticks_to_stop(ticking: Ticking, count: int) -> int:
    """How many ticks a count may go on before it matters; many where it does not go on."""
    if count >= ticking.last:
        return NO_STOP if ticking.behind == ticking.last else 1
    return next(stop for stop in ticking.stops if stop > count) - count
