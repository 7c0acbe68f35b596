"""Replay moves on the interpreter: each must be a step that the product really has."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.errors import ModecheckError
from modecheck.product.ir import Product


@dataclass(frozen=True, slots=True)
class Move:
    """A step by its label (number), and the state after it; None after a failing step.

    `ticks` is how many pass in it, where an observer has counted them: without the observer they
    may change nothing, or be fewer than those of one step. It is None where the product decides.
    """

    label: int
    after: State | None
    ticks: int | None = None


class ReplayError(ModecheckError):
    """A move is not a step of the product: a bug in modecheck itself."""

    def __init__(self, position: int, label: str) -> None:
        super().__init__()
        self.position = position
        self.label = label

    def __str__(self) -> str:
        return f"step {self.position} of a scenario, {self.label!r}, cannot be replayed"


@dataclass(frozen=True, slots=True)
class Replayed:
    """A step with the state before it: the one in which the device begins, if that is the step."""

    before: State
    step: Step


def replay(product: Product, moves: Iterable[Move]) -> Iterator[Replayed]:
    """The steps of these moves, taken again from the initial state. Raises `ReplayError`."""
    interpreter = Interpreter(product)
    state = product.initial
    for position, move in enumerate(moves, start=1):
        found = interpreter.step_to(state, move.label, move.after, move.ticks)
        if found is None or (position > 1 and move.label == product.start_label):
            raise ReplayError(position, product.labels[move.label].text)
        begins = found.after if move.label == product.start_label else None
        yield Replayed(begins or state, found)
        if found.after is not None:
            state = found.after
