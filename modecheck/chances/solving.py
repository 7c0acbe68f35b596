"""Linear equations x = b + Q x: exactly for a small chain, sparse for a large one.

Exact solving eliminates states one by one (Gaussian elimination over fractions, without pivoting:
I - Q is an M-matrix, so no pivot is 0 if every state can leave; Kemeny & Snell 1960, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from modecheck.model.errors import ModecheckError

MOST_EXACT = 400
"""Unknowns solved in fractions; with more, the fractions grow long and take minutes."""

Row = dict[int, Fraction]
Number = Fraction | float


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


@dataclass(frozen=True, slots=True)
class Solution:
    """`residual` is the largest error in an equation: 0 exactly if `exact`."""

    values: tuple[Number, ...]
    exact: bool
    residual: float


def solve(rows: Sequence[Row], right: Sequence[Fraction], most: int = MOST_EXACT) -> Solution:
    """The solution of x = right + rows x; every state must be able to leave."""
    if len(rows) <= most:
        return Solution(tuple(_eliminated(rows, right)), exact=True, residual=0.0)
    return _sparse(rows, right)


def _eliminated(rows: Sequence[Row], right: Sequence[Fraction]) -> list[Fraction]:
    rest, constant = [dict(row) for row in rows], list(right)
    users: list[set[int]] = [set() for _ in rows]
    for number, row in enumerate(rest):
        for column in row:
            users[column].add(number)
    for pivot in range(len(rows)):
        row = rest[pivot]
        scale = 1 / (1 - row.pop(pivot, Fraction(0)))
        for column in row:
            row[column] *= scale
        constant[pivot] *= scale
        for user in [number for number in users[pivot] if number > pivot]:
            share = rest[user].pop(pivot)
            constant[user] += share * constant[pivot]
            for column, value in row.items():
                rest[user][column] = rest[user].get(column, Fraction(0)) + share * value
                users[column].add(user)
    for number in reversed(range(len(rows))):
        constant[number] += sum(
            (value * constant[column] for column, value in rest[number].items()), Fraction(0)
        )
    return constant


def _sparse(rows: Sequence[Row], right: Sequence[Fraction]) -> Solution:
    import numpy

    try:
        from scipy.sparse import csc_matrix, identity
        from scipy.sparse.linalg import spsolve
    except ImportError as missing:
        raise SolverMissing(len(rows)) from missing

    places = [(number, column) for number, row in enumerate(rows) for column in row]
    values = [float(value) for row in rows for value in row.values()]
    lines, columns = zip(*places, strict=True) if places else ((), ())
    size = len(rows)
    matrix = identity(size, format="csc") - csc_matrix((values, (lines, columns)), (size, size))
    constant = numpy.array([float(value) for value in right])
    found = spsolve(matrix, constant)
    residual = float(numpy.abs(matrix @ found - constant).max())
    residual = residual if numpy.isfinite(residual) else float("inf")
    return Solution(tuple(float(value) for value in found), exact=False, residual=residual)
