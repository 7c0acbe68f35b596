"""Linear equations x = b + Q x: exactly for a small chain, sparse for a large one.

Elimination takes states out one by one (Gaussian elimination without pivoting: I - Q is an
M-matrix, so no pivot is 0 if every state can leave; Kemeny & Snell 1960, from memory). It never
subtracts: the chance to go elsewhere is a sum (Grassmann, Taksar & Heyman 1985, from memory), so
that floating point keeps all digits but a few, too, however small chances are.

Sparse solving is faster and subtracts. It counts only if rounding cannot have changed much: the
inverse of I - Q has no negative entry, so that no value is off by more than the largest residual
times the solution for b = 1. Elsewhere states are taken out in floating point.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf
from typing import TypeAlias

from modecheck.model.errors import ModecheckError

MOST_EXACT = 400
"""Unknowns solved in fractions; with more, the fractions grow long and take minutes."""

MOST_WORK = 10_000_000
"""Products for taking states out in floating point: some ten seconds."""
CLOSE = 1e-6
"""How far a value of sparse solving may be off, as a share of it."""
SMALL = 1e-3
"""Values below this share of the largest one may be off by as much as that share of it."""

Number = Fraction | float
Row = dict[int, Fraction]
NumberRow: TypeAlias = "dict[int, Number]"
ONE = Fraction(1)


class SolverMissing(ModecheckError):
    """There are too many unknowns for fractions, and scipy is not installed."""

    def __init__(self, unknowns: int) -> None:
        super().__init__(unknowns)
        self.unknowns = unknowns

    def __str__(self) -> str:
        return (
            f"{self.unknowns:,} unknowns need scipy (up to {MOST_EXACT} are solved in fractions), "
            "which is not installed: pip install 'modecheck[chances]', or pip install scipy"
        )


class TooSensitive(ModecheckError):
    """Rounding changes the solution, and there are too many states to take them out."""

    def __init__(self, unknowns: int) -> None:
        super().__init__(unknowns)
        self.unknowns = unknowns

    def __str__(self) -> str:
        return (
            f"{self.unknowns:,} unknowns and chances so small that rounding changes the figures: "
            "they can be computed of a smaller device, or with less extreme weights"
        )


@dataclass(frozen=True, slots=True)
class Solution:
    """`residual` is the largest error in an equation, as a share of the largest value: 0 exactly if
    `exact`.
    """

    values: tuple[Number, ...]
    exact: bool
    residual: float


def solve(rows: Sequence[Row], right: Sequence[Fraction], most: int = MOST_EXACT) -> Solution:
    """The solution of x = right + rows x; every state must be able to leave. Raises `SolverMissing`
    or `TooSensitive`.
    """
    leaving = Leaving.of(rows)
    if len(rows) <= most:
        values = _eliminated(rows, right, leaving)
        return Solution(tuple(values), exact=True, residual=0.0)
    found = _sparse(rows, right)
    return _taken_out(rows, right, leaving) if found is None else found


@dataclass(frozen=True, slots=True)
class Leaving:
    """The chances to leave all states. They are what the rows lack to a sum of 1 or, if `columns`
    (the equations of visits), what the columns lack.
    """

    chances: tuple[Number, ...]
    columns: bool

    @classmethod
    def of(cls, rows: Sequence[Row]) -> Leaving:
        chances = [1 - sum(row.values(), Fraction(0)) for row in rows]
        if min(chances, default=ONE) >= 0:
            return cls(tuple(chances), columns=False)
        chances = [Fraction(1)] * len(rows)
        for row in rows:
            for column, value in row.items():
                chances[column] -= value
        return cls(tuple(chances), columns=True)


def _taken_out(rows: Sequence[Row], right: Sequence[Fraction], leaving: Leaving) -> Solution:
    """The solution by elimination in floating point. Raises `TooSensitive`."""
    numbers = [{column: float(value) for column, value in row.items()} for row in rows]
    chances = Leaving(tuple(map(float, leaving.chances)), leaving.columns)
    try:
        values = _eliminated(numbers, list(map(float, right)), chances, MOST_WORK)
    except _TooMuchWork:
        raise TooSensitive(len(rows)) from None
    off = [
        abs(value - float(b) - sum(share * values[column] for column, share in row.items()))
        for value, b, row in zip(values, right, numbers, strict=True)
    ]
    return Solution(tuple(values), exact=False, residual=max(off) / max(1.0, *values))


class _TooMuchWork(Exception):
    """A bound was hit."""


def _eliminated(
    rows: Sequence[Mapping[int, Number]],
    right: Sequence[Number],
    leaving: Leaving,
    most: float = inf,
) -> list[Number]:
    """The solution, without a subtraction. Raises `_TooMuchWork` after so many products.

    The last states go first: many states lead back to the first ones, and taking out a state joins
    all that lead to it with all that it leads to.
    """
    rest = _Rest(rows, right, leaving)
    for pivot in reversed(range(len(rows))):
        rest.take_out(pivot)
        if rest.work > most:
            raise _TooMuchWork
    for number in range(len(rows)):
        row = rest.rows[number].items()
        rest.right[number] += sum(value * rest.right[column] for column, value in row)
    return rest.right


class _Rest:
    """The equations of the states that are left, each without its own state: what would stay there
    is what neither leaves nor goes elsewhere.
    """

    def __init__(
        self, rows: Sequence[Mapping[int, Number]], right: Sequence[Number], leaving: Leaving
    ) -> None:
        self.rows: list[NumberRow] = [
            {column: value for column, value in row.items() if column != number}
            for number, row in enumerate(rows)
        ]
        self.right, self._leave, self._columns = [*right], [*leaving.chances], leaving.columns
        self._users: list[set[int]] = [set() for _ in rows]
        for number, row in enumerate(self.rows):
            for column in row:
                self._users[column].add(number)
        self.work = 0

    def take_out(self, pivot: int) -> None:
        """Replace a state, the last of those that are left, by its equation."""
        row, leave = self.rows[pivot], self._leave[pivot]
        users = [number for number in self._users[pivot] if number < pivot]
        shares = {number: self.rows[number].pop(pivot) for number in users}
        scale = 1 / (leave + sum((shares if self._columns else row).values()))
        self.right[pivot] *= scale
        for column in row:
            row[column] *= scale
            if self._columns:
                self._leave[column] += row[column] * leave
        for user, share in shares.items():
            self.right[user] += share * self.right[pivot]
            if not self._columns:
                self._leave[user] += share * scale * leave
            self._hand_on(user, share, row)
        self.work += len(shares) * (1 + len(row))

    def _hand_on(self, user: int, share: Number, row: NumberRow) -> None:
        mine = self.rows[user]
        for column, value in row.items():
            if column != user:
                mine[column] = mine.get(column, 0) + share * value
                self._users[column].add(user)


def _sparse(rows: Sequence[Row], right: Sequence[Fraction]) -> Solution | None:
    """The solution in floating point; None if rounding may have changed it."""
    import numpy

    try:
        from scipy.sparse import csc_matrix, identity
        from scipy.sparse.linalg import splu
    except ImportError as missing:
        raise SolverMissing(len(rows)) from missing

    places = [(number, column) for number, row in enumerate(rows) for column in row]
    values = [float(value) for row in rows for value in row.values()]
    lines, columns = zip(*places, strict=True) if places else ((), ())
    size = len(rows)
    matrix = identity(size, format="csc") - csc_matrix((values, (lines, columns)), (size, size))
    constant = numpy.array([float(value) for value in right])
    try:
        factors = splu(matrix)
    except RuntimeError:  # a pivot is 0: the chance to leave was lost by rounding
        return None
    found, ones = factors.solve(constant), factors.solve(numpy.ones(size))
    residual = float(numpy.abs(matrix @ found - constant).max())
    rest = 1 - float(numpy.abs(matrix @ ones - 1).max())
    if not (numpy.isfinite(residual) and rest > 0.5 and ones.min() > 0):
        return None
    off, shown = residual / rest * ones, numpy.abs(found)
    if (off > CLOSE * numpy.maximum(shown, SMALL * shown.max())).any():
        return None
    residual /= max(1.0, float(shown.max()))
    return Solution(tuple(float(value) for value in found), exact=False, residual=residual)
