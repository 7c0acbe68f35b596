"""Exact and sparse solving agree, and equations are solved."""

from __future__ import annotations

import random
import sys
from fractions import Fraction

import pytest

from modecheck.chances.solving import Row, SolverMissing, solve


def equations(seed: int) -> tuple[list[Row], list[Fraction]]:
    """A random chain in which every state leaves with at least one part of ten."""
    draw = random.Random(seed)  # noqa: S311 - a test that is the same each time
    size = draw.randint(1, 12)
    rows = []
    for _ in range(size):
        row: Row = {}
        for _ in range(9):
            column = draw.randrange(size)
            row[column] = row.get(column, Fraction(0)) + Fraction(1, 10)
        rows.append(row)
    return rows, [Fraction(draw.randint(0, 5), 3) for _ in range(size)]


@pytest.mark.parametrize("seed", range(20))
def test_exact_and_sparse_agree(seed: int) -> None:
    """And what is exact solves its equations without any rest."""
    rows, right = equations(seed)
    exact, sparse = solve(rows, right), solve(rows, right, most=0)
    assert exact.exact
    assert not sparse.exact
    assert sparse.residual < 1e-9
    assert [float(value) for value in exact.values] == pytest.approx(list(sparse.values))
    for number, row in enumerate(rows):
        told = sum((share * exact.values[column] for column, share in row.items()), right[number])
        assert exact.values[number] == told


def test_a_large_chain_without_scipy_names_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Scipy is an extra: small chains never ask for it."""
    monkeypatch.setitem(sys.modules, "scipy.sparse", None)
    rows, right = equations(3)
    assert solve(rows, right).exact
    with pytest.raises(SolverMissing, match=r"pip install 'modecheck\[chances\]'"):
        solve(rows, right, most=0)
