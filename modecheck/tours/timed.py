"""Walks through the whole product as steps for people, where timing matters.

An action and what then happens by itself, up to the next action, are one step. What happens by
itself may come in another order than the one shown: then the sequence has to be restarted, and the
step says so.
"""

from __future__ import annotations

from collections.abc import Sequence as Several
from dataclasses import dataclass, field, replace

from modecheck.engine.contract.space import Space
from modecheck.engine.reference.plain import State, Step
from modecheck.model.wording import counted
from modecheck.tours.plan import BenchStep, StepSequence
from modecheck.tours.settling import FAULTS, Settling
from modecheck.tours.tour_words import Teller


@dataclass(slots=True)
class _Draft:
    """A step under construction: the state before it, and the atomic steps in it."""

    kind: str
    before: State
    early: bool = False
    steps: list[Step] = field(default_factory=list)
    forked: int = 0


class TellTimed:
    """Turns walks over transitions of a space into sequences."""

    def __init__(self, settling: Settling, space: Space) -> None:
        self._settling = settling
        self._space = space
        self._teller = Teller(settling)

    def sequence(self, walk: Several[tuple[int, int]]) -> StepSequence:
        """A walk of (label, number of the state after it) as a sequence."""
        state = self._settling.product.initial
        drafts = [_Draft("start", state)]
        for label, target in walk:
            after = self._space.state(target)
            steps = self._settling.steps(state)
            step = next(s for s in steps if s.label == label and s.after == after)
            others = self._settling.by_itself(state)
            if step in others:
                drafts[-1].forked += len({s.after for s in others}) > 1
            else:
                kind = "fault" if self._kind(label) in FAULTS else "act"
                drafts.append(_Draft(kind, state, bool(others)))
            drafts[-1].steps.append(step)
            state = after
        return StepSequence(tuple(self._step(draft) for draft in drafts))

    def _kind(self, label: int) -> str:
        return self._settling.product.labels[label].kind

    def _step(self, draft: _Draft) -> BenchStep:
        before = None if draft.kind == "start" else draft.before
        step = self._teller.step(draft.kind, before, draft.steps, draft.before)
        return replace(step, early=draft.early, may_also=_order_matters(draft.forked))


def _order_matters(times: int) -> tuple[str, ...]:
    if not times:
        return ()
    moments = counted(times, "moment")
    return (f"something else, if another step comes first (at {moments}): then start over",)
