"""Replay a trace on the interpreter: every move must be a step that the product really has."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.checks.traces import Trace
from modecheck.engine.plain import Interpreter, State, Step
from modecheck.model.errors import ModecheckError
from modecheck.product.ir import Product


class ReplayError(ModecheckError):
    """A move of a trace is not a step of the product: a bug in modecheck itself."""

    def __init__(self, position: int, label: str) -> None:
        super().__init__()
        self.position = position
        self.label = label

    def __str__(self) -> str:
        return f"step {self.position} of a scenario, {self.label!r}, cannot be replayed"


@dataclass(frozen=True, slots=True)
class Replayed:
    """A step with the state before it."""

    before: State
    step: Step


def replay(product: Product, trace: Trace) -> Iterator[Replayed]:
    """The steps of a trace, taken again from the initial state. Raises `ReplayError`."""
    interpreter = Interpreter(product)
    state = product.initial
    for position, move in enumerate(trace.moves, start=1):
        found = interpreter.step_to(state, move.label, move.after, move.ticks)
        if found is None:
            raise ReplayError(position, product.labels[move.label].text)
        yield Replayed(state, found)
        if found.after is not None:
            state = found.after
