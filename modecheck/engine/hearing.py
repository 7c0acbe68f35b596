"""An interpreter that also tells what each signal of a step was judged on, and what was sent.

For those who follow a step from inside one chip: between two signals of one step the others may
have moved already, which neither the state before the step nor the one after it shows.
"""

from __future__ import annotations

from typing import NamedTuple

from modecheck.engine.plain import Interpreter, State, Step, _Draft
from modecheck.product.ir import Product, Reaction


class Hearing(NamedTuple):
    """A signal was raised; everybody who hears it is judged on the fields `seen`."""

    signal: int
    signaller: int
    seen: State


class Sending(NamedTuple):
    """A message (code) was given to a queue, whatever became of it."""

    queue: int
    message: int
    value: int


class Attended(NamedTuple):
    """A step with all that was heard and sent in it, in order."""

    step: Step
    hearings: tuple[Hearing, ...]
    sendings: tuple[Sending, ...]


class AttentiveInterpreter(Interpreter):
    """Enumerates the same steps as the interpreter, in the same order."""

    def __init__(self, product: Product) -> None:
        super().__init__(product)
        self._hearings: list[Hearing] = []
        self._attended: dict[int, Attended] = {}

    def attended(self, state: State) -> list[Attended]:
        """Every atomic step from a state, failing ones included."""
        self._attended.clear()
        steps = self.steps(state)
        return [self._attended.get(id(step)) or Attended(step, (), ()) for step in steps]

    def _completed(self, draft: _Draft, chip: int, reaction: Reaction, label: int) -> Step:
        self._hearings = []
        step = super()._completed(draft, chip, reaction, label)
        sendings = (Sending(send.queue, send.message, value) for send, value in draft.sends)
        # By identity: what is kept here keeps the step alive, so its number is not given again.
        self._attended[id(step)] = Attended(step, tuple(self._hearings), tuple(sendings))
        return step

    def _hear(self, draft: _Draft, signal: int, signaller: int) -> None:
        self._hearings.append(Hearing(signal, signaller, tuple(draft.now)))
        super()._hear(draft, signal, signaller)
