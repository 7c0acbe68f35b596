"""Which clocks run in a state of the discrete part, and what guards say of them.

In the discrete part a field that counts ticks holds `MARK` and its own number while it counts, and
0 while it does not. So a step of the interpreter shows by itself what it does to each clock: where
it leaves a mark, the clock with that number has moved there, or was kept; where it leaves a number,
the clock was set to it.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.errors import ModecheckError
from modecheck.product.evaluation import NOBODY, StepFailed
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Read
from modecheck.product.ir import Product, Ticking

MARK = 1 << 40
"""More than any clock or variable counts."""

COMPARISONS: dict[str, Callable[[int, int], bool]] = {
    "==": operator.eq,
    "!=": operator.ne,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}
TURNED = {"==": "==", "!=": "!=", "<": ">", "<=": ">=", ">": "<", ">=": "<="}


class NotZonable(ModecheckError):
    """A product that zones cannot explore; carries the reason."""

    def __init__(self, reason: str) -> None:
        super().__init__()
        self.reason = reason

    def __str__(self) -> str:
        return f"zones cannot explore this product: {self.reason}"


@dataclass(frozen=True, slots=True)
class ClockBounds:
    """A clock (its field) is from `low` to `high` ticks; None for no highest."""

    field: int
    low: int
    high: int | None


BoundsInForce = tuple[ClockBounds, ...]
"""Bounds that hold together. Nothing stands for what holds at any time."""

ALWAYS: tuple[BoundsInForce, ...] = ((),)
NEVER: tuple[BoundsInForce, ...] = ()


@dataclass(frozen=True, slots=True)
class Running:
    """A clock that runs. After `last` ticks it is set to `behind`, or counts no further, which is
    None.
    """

    field: int
    last: int
    behind: int | None
    zero: int

    @property
    def most(self) -> int:
        """Beyond so many ticks all moments are alike."""
        return self.last if self.behind is not None else max(self.last - 1, 0)


class Clocks:
    """The clocks of a product with time."""

    def __init__(self, product: Product, interpreter: Interpreter) -> None:
        assert product.time is not None
        self._tickings = product.time.tickings
        self._interpreter = interpreter
        self.fields = frozenset(ticking.field for ticking in self._tickings)

    def running(self, state: Sequence[int]) -> tuple[Running, ...]:
        """The clocks that run in a state, by field."""
        found = (
            _running(ticking)
            for ticking in self._tickings
            if self._interpreter.condition(ticking.runs, state)
        )
        return tuple(sorted(found, key=lambda clock: clock.field))

    def arrival(
        self, after: Sequence[int], old: Sequence[Running], *, more: int = 0
    ) -> tuple[State, tuple[Running, ...], tuple[tuple[int, int], ...]]:
        """The discrete part of what a step has led to, the clocks that run there, and the source of
        each (`dbm.rearranged`). `old` are the clocks that ran before; those kept pass `more` ticks.
        """
        running = self.running(after)
        index = {clock.field: number for number, clock in enumerate(old, start=1)}
        state = list(after)
        for field in self.fields:
            state[field] = 0
        sources = []
        for clock in running:
            value = after[clock.field]
            kept = value >= MARK
            sources.append((index[value - MARK], more) if kept else (0, value - clock.zero))
            state[clock.field] = MARK + clock.field
        return tuple(state), running, tuple(sources)

    def reads_clock(self, expression: Expression) -> bool:
        """Whether an expression reads a field that counts ticks."""
        if isinstance(expression, Read):
            return expression.field in self.fields
        if isinstance(expression, ApplyIR):
            return any(map(self.reads_clock, expression.arguments))
        return False

    def relaxed(self, expression: Expression) -> Expression:
        """A guard as if it were always time: what it says of clocks is taken for true."""
        if not self.reads_clock(expression):
            return expression
        assert isinstance(expression, ApplyIR)
        if expression.operator in ("and", "or"):
            parts = tuple(map(self.relaxed, expression.arguments))
            return ApplyIR(expression.operator, parts)
        self._comparison(expression)
        return ConstantIR(1)

    def guard_ways(
        self, guard: Expression | None, state: State, running: Sequence[Running]
    ) -> tuple[BoundsInForce, ...]:
        """When a guard holds in a state; for one that fails, when it comes to where it fails."""
        if guard is None:
            return ALWAYS
        together = isinstance(guard, ApplyIR) and guard.operator == "and"
        parts = guard.arguments if isinstance(guard, ApplyIR) and together else (guard,)
        found = ALWAYS
        by_field = {clock.field: clock for clock in running}
        for part in parts:
            try:
                found = _both(found, self._ways(part, state, by_field))
            except StepFailed:
                return found
        return found

    def condition_ways(
        self, condition: Expression, state: State, running: Sequence[Running]
    ) -> tuple[BoundsInForce, ...]:
        """When a condition holds in a state; an index out of range makes it false."""
        try:
            return self._ways(condition, state, {clock.field: clock for clock in running})
        except StepFailed:
            return NEVER

    def when(
        self, field: int, compared: str, ticks: int, state: State, running: Sequence[Running]
    ) -> tuple[BoundsInForce, ...]:
        """When what a clock's field counts compares so with a number."""
        return _compared(field, compared, ticks, state, {clock.field: clock for clock in running})

    def _ways(
        self, expression: Expression, state: State, running: dict[int, Running]
    ) -> tuple[BoundsInForce, ...]:
        if not self.reads_clock(expression):
            function = self._interpreter.evaluator.function(expression, NOBODY)
            return ALWAYS if function(state, state, 0, 0) else NEVER
        assert isinstance(expression, ApplyIR)
        if expression.operator == "and":
            found = ALWAYS
            for part in expression.arguments:
                if not found:
                    break
                found = _both(found, self._ways(part, state, running))
            return found
        if expression.operator == "or":
            ways: dict[BoundsInForce, None] = {}
            for part in expression.arguments:
                ways |= dict.fromkeys(self._ways(part, state, running))
            return ALWAYS if () in ways else tuple(ways)
        return _compared(*self._comparison(expression), state, running)

    def _comparison(self, expression: Expression) -> tuple[int, str, int]:
        """A clock's field, an operator and a number."""
        if isinstance(expression, ApplyIR) and expression.operator in COMPARISONS:
            left, right = expression.arguments
            if isinstance(left, Read) and isinstance(right, ConstantIR):
                return left.field, expression.operator, right.value
            if isinstance(right, Read) and isinstance(left, ConstantIR):
                return right.field, TURNED[expression.operator], left.value
        raise NotZonable("a condition does more with a clock than compare it with a number")


def _running(ticking: Ticking) -> Running:
    stays = ticking.behind == ticking.last
    behind = None if stays else ticking.behind
    return Running(ticking.field, ticking.last - ticking.zero, behind, ticking.zero)


def _compared(
    field: int, compared: str, value: int, state: State, running: dict[int, Running]
) -> tuple[BoundsInForce, ...]:
    if field not in running:
        return ALWAYS if COMPARISONS[compared](state[field], value) else NEVER
    return tuple(_bounds(running[field], compared, value))


def _bounds(clock: Running, compared: str, value: int) -> Iterator[BoundsInForce]:
    """When a comparison holds of what a clock's field would count, which stops at its last."""
    ticks = value - clock.zero
    pairs: dict[str, list[tuple[int, int | None]]] = {
        "==": [(ticks, ticks)],
        "!=": [(0, ticks - 1), (ticks + 1, None)],
        "<": [(0, ticks - 1)],
        "<=": [(0, ticks)],
        ">": [(ticks + 1, None)],
        ">=": [(ticks, None)],
    }
    for low, high in pairs[compared]:
        if low > clock.last or (high is not None and high < max(low, 0)):
            continue
        highest = None if high is None or high >= clock.last else high
        if clock.behind is not None and high is not None:
            highest = min(high, clock.last)
        if low <= 0 and highest is None:
            yield ()
        else:
            yield (ClockBounds(clock.field, max(low, 0), highest),)


def _both(
    one: tuple[BoundsInForce, ...], other: tuple[BoundsInForce, ...]
) -> tuple[BoundsInForce, ...]:
    """When two things hold together."""
    found: dict[BoundsInForce, None] = {}
    for first in one:
        for second in other:
            met = _met(first, second)
            if met is not None:
                found[met] = None
    return tuple(found)


def _met(one: BoundsInForce, other: BoundsInForce) -> BoundsInForce | None:
    """All bounds of both, one for each clock; None where they contradict each other."""
    found = {bounds.field: bounds for bounds in one}
    for bounds in other:
        known = found.get(bounds.field)
        if known is not None:
            highs = [high for high in (known.high, bounds.high) if high is not None]
            high = min(highs) if highs else None
            low = max(known.low, bounds.low)
            if high is not None and high < low:
                return None
            bounds = ClockBounds(bounds.field, low, high)
        found[bounds.field] = bounds
    return tuple(found[field] for field in sorted(found))
