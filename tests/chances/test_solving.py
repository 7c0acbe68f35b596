"""Exact and sparse solving agree, and equations are solved."""

from __future__ import annotations

import random
import sys
from fractions import Fraction

import pytest

from modecheck.chances import solving
from modecheck.chances.solving import Row, SolverMissing, TooSensitive, solve


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


def climbing(steps: int, up: Fraction) -> tuple[list[Row], list[Fraction]]:
    """From each number one more, or back to 0; until `steps` in a row."""
    rows: list[Row] = [{0: 1 - up} for _ in range(steps)]
    for number in range(steps - 1):
        rows[number][number + 1] = rows[number].get(number + 1, Fraction(0)) + up
    return rows, [Fraction(1)] * steps


def test_a_mean_that_rounding_would_change_keeps_its_digits() -> None:
    """Until 120 heads in a row it takes (1/p**120 - 1) / (1 - p) coins, here 2**121 - 2 (Feller
    1968, section XIII.7, from memory). Elimination with subtractions gives numbers below 0.
    """
    rows, right = climbing(120, Fraction(1, 2))
    assert solve(rows, right).values[0] == 2**121 - 2
    rough = solve(rows, right, most=0)
    assert not rough.exact
    assert rough.values[0] == pytest.approx(2**121 - 2, rel=1e-12)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("turned", [False, True], ids=["times", "visits"])
def test_states_are_taken_out_alike_in_floating_point(
    seed: int, turned: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the equations of times, whose rows lack the chance to leave, and of those of visits, whose
    columns do.
    """
    monkeypatch.setattr(solving, "CLOSE", 0.0)
    rows, right = equations(seed)
    if turned:
        rows = [{n: row[k] for n, row in enumerate(rows) if k in row} for k in range(len(rows))]
    exact, rough = solve(rows, right), solve(rows, right, most=0)
    assert list(rough.values) == pytest.approx([float(value) for value in exact.values], rel=1e-12)
    for number, row in enumerate(rows):
        told = sum((share * exact.values[column] for column, share in row.items()), right[number])
        assert exact.values[number] == told


def test_what_is_too_sensitive_is_not_solved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rather no figure than a wrong one; where rounding changes little, there is one."""
    monkeypatch.setattr(solving, "MOST_WORK", 100)
    with pytest.raises(TooSensitive, match="120 unknowns and chances so small"):
        solve(*climbing(120, Fraction(1, 2)), most=0)
    likely = solve(*climbing(120, Fraction(99, 100)), most=0)
    assert likely.values[0] == pytest.approx((1 / 0.99**120 - 1) / 0.01, rel=1e-9)
