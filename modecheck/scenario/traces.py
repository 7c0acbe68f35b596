"""Traces through a product: how the device gets from its initial state to what was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from modecheck.engine.contract.space import Edge, FairLoop, Path, Sighting, Space
from modecheck.engine.reference.happenings import Passed
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.product.ir import Product
from modecheck.scenario.replay import Move, Replayed, replay
from modecheck.scenario.telling import ToldStep, tell_steps


@dataclass(frozen=True)
class Trace:
    """Moves of a product from its initial state. `switch_from` is where a mode switch begins in
    it, or 0.

    `loop_from` is the number of the move (from 1) that begins a loop, up to the last move, which
    can repeat forever; 0 where there is none. It is one past the last move where the device can
    stay in the last state forever.

    Whoever reports a trace reads its `steps` or the scenario told: both are made once, when they
    are first read. Equality ignores the product.
    """

    product: Product = field(compare=False, repr=False)
    moves: tuple[Move, ...]
    switch_from: int = 0
    loop_from: int = 0

    @cached_property
    def steps(self) -> Sequence[Replayed]:
        """Every step, replayed on the interpreter. Raises `ReplayError`."""
        return tuple(replay(self.product, self.moves))

    @cached_property
    def told(self) -> Sequence[ToldStep]:
        """The scenario: every step in words. Raises `ReplayError`."""
        return tuple(tell_steps(self.product, self.steps, self.loop_from))

    @property
    def stays(self) -> bool:
        """Whether it ends in a state in which no further step has to happen."""
        return self.loop_from > len(self.moves)

    def __getstate__(self) -> dict[str, object]:
        """For another process: without what can be made again."""
        return {one: getattr(self, one) for one in self.__dataclass_fields__}


def trace_to(space: Space, number: int) -> Trace:
    """A shortest trace to a state."""
    return _as_trace(space, space.path_to(number))


def trace_to_failure(space: Space, sighting: Sighting) -> Trace:
    """A shortest trace to a failing step, including that step."""
    trace = trace_to(space, sighting.state)
    return replace(trace, moves=(*trace.moves, Move(sighting.label, None)))


def trace_over(space: Space, source: int, edge: Edge) -> Trace:
    """A shortest trace to the state `source`, followed by one of its transitions."""
    return _as_trace(space, [*space.path_to(source), (edge.label, edge.target)])


def trace_along(space: Space, start: int, path: Path) -> Trace:
    """A shortest trace to `start`, followed by a path, which is marked as a switch."""
    before = space.path_to(start)
    return _as_trace(space, before + path, switch_from=len(before))


def lasso(space: Space, found: FairLoop) -> Trace:
    """A shortest trace to where a loop begins, followed by one pass through the loop."""
    trace = _as_trace(space, found.stem + found.loop)
    return replace(trace, loop_from=len(found.stem) + 1)


def without_observers(product: Product, trace: Trace) -> Trace:
    """A trace of a product with observers as one of the product itself: steps of observers only,
    and idling, are left out. Time that passes is kept even if only observers count it.
    """
    moves: list[Move] = []
    loop_from = trace.loop_from
    ticks = _ticks_passed(trace)
    for number, move in enumerate(trace.moves, start=1):
        if move.label >= len(product.labels):
            loop_from -= number < trace.loop_from
            continue
        after = None if move.after is None else move.after[: len(product.fields)]
        moves.append(Move(move.label, after, ticks.get(number)))
    return Trace(product, tuple(moves), trace.switch_from, loop_from)


def _ticks_passed(trace: Trace) -> dict[int, int]:
    """How many ticks pass in each step of a trace in which time passes, by its number."""
    product = trace.product
    if product.time is None:
        return {}
    passed: dict[int, int] = {}
    interpreter, before = Interpreter(product), product.initial
    for number, move in enumerate(trace.moves, start=1):
        if move.label == product.time.label:
            passed[number] = _ticks_in(interpreter, before, move) if product.time.accelerated else 1
        before = before if move.after is None else move.after
    return passed


def _ticks_in(interpreter: Interpreter, before: State, move: Move) -> int:
    step = interpreter.step_to(before, move.label, move.after)
    assert step is not None, "a trace has steps of its product"
    return sum(one.ticks for one in step.happenings if isinstance(one, Passed))


def _as_trace(space: Space, path: Path, *, switch_from: int = 0) -> Trace:
    return Trace(space.product, moves_along(space, path), switch_from)


def moves_along(space: Space, path: Path) -> tuple[Move, ...]:
    """The steps of a path as moves."""
    states = space.states_at([number for _, number in path])
    return tuple(Move(label, state) for (label, _), state in zip(path, states, strict=True))
