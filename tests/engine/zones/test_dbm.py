"""Difference-bound matrices against the points that they stand for, tried one by one.

All constants are small, so that every point of whole and of half numbers can be tried. Where whole
numbers count, bounds are not strict.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.engine.zones import dbm
from modecheck.engine.zones.dbm import Zone

N = 3
"""Two clocks, and the one that is always 0."""
MOST = 4
"""Beyond what any bound here says."""
HALVES = [k / 2 for k in range(4 * MOST + 3)]
Point = tuple[float, ...]
Constraint = tuple[int, int, int]


def satisfied(values: Sequence[float], constraint: Constraint) -> bool:
    """Whether a point keeps a bound, by the meaning of the number that stands for it."""
    i, j, bound = constraint
    x = (0.0, *values)
    limit = bound >> 1
    return x[i] - x[j] < limit or (bool(bound & 1) and x[i] - x[j] == limit)


def points(zone: Zone | None, *, whole: bool = False) -> set[Point]:
    """The points of a zone on the grid."""
    if zone is None:
        return set()
    grid = HALVES[::2] if whole else HALVES
    bounds = [(i, j, zone[i * N + j]) for i in range(N) for j in range(N)]
    return {p for p in product(grid, repeat=N - 1) if all(satisfied(p, b) for b in bounds)}


@st.composite
def constraints(draw: st.DrawFn, *, strict: bool = True) -> list[Constraint]:
    """Some bounds on two clocks."""
    found = []
    for _ in range(draw(st.integers(0, 5))):
        i, j = draw(st.sampled_from([(i, j) for i in range(N) for j in range(N) if i != j]))
        ticks = draw(st.integers(-MOST, MOST))
        exact = not strict or draw(st.booleans())
        found.append((i, j, dbm.at_most(ticks) if exact else dbm.less_than(ticks)))
    return found


def everything() -> Zone:
    """All moments: clocks are at least 0."""
    cells = [dbm.UNBOUNDED] * (N * N)
    for k in range(N):
        cells[k * N + k] = cells[k] = dbm.ZERO
    return tuple(cells)


def made(bounds: Sequence[Constraint]) -> Zone | None:
    """The zone of some bounds, one after the other."""
    zone: Zone | None = everything()
    for i, j, bound in bounds:
        zone = dbm.constrained(zone, N, i, j, bound) if zone is not None else None
    return zone


def kept(bounds: Sequence[Constraint]) -> set[Point]:
    """The points that keep some bounds."""
    return {p for p in product(HALVES, repeat=N - 1) if all(satisfied(p, b) for b in bounds)}


@given(constraints())
def test_a_zone_holds_the_points_that_keep_its_bounds(bounds: list[Constraint]) -> None:
    """One bound after the other, or all at once and then closed: the same zone, the same points."""
    zone = made(bounds)
    assert points(zone) == kept(bounds)
    cells = list(everything())
    for i, j, bound in bounds:
        cells[i * N + j] = min(cells[i * N + j], bound)
    assert dbm.closed(cells, N) == zone


@given(constraints(), constraints())
def test_a_zone_includes_another_if_it_holds_its_points(
    one: list[Constraint], other: list[Constraint]
) -> None:
    """Two clocks with integer bounds differ on the grid of halves if they differ anywhere near."""
    big, small = made(one), made(one + other)
    if big is not None and small is not None:
        assert dbm.includes(big, small)
        assert dbm.includes(small, big) == (big == small) == (points(big) == points(small))


@settings(max_examples=30)
@given(constraints())
def test_time_passes_for_all_clocks_alike(bounds: list[Constraint]) -> None:
    """A later point is an earlier one with the same added to all; no other point is. Strict bounds
    may leave an earlier one between two halves alone.
    """
    zone = made(bounds)
    if zone is None:
        return
    own = [(i, j, zone[i * N + j]) for i in range(N) for j in range(N)]
    quarters = [k / 4 for k in range(2 * len(HALVES))]
    expected = {
        p
        for p in product(HALVES, repeat=N - 1)
        if any(
            all(satisfied([value - less for value in p], bound) for bound in own)
            for less in quarters
            if less <= min(p)
        )
    }
    assert points(dbm.later(zone, N)) == expected


SOURCES = st.tuples(st.integers(0, N - 1), st.integers(0, 2))


@given(constraints(strict=False), SOURCES, SOURCES)
def test_clocks_are_set_copied_and_moved(
    bounds: list[Constraint], first: tuple[int, int], second: tuple[int, int]
) -> None:
    """Each new clock is an old one, or 0, and so many ticks more; what is left out is forgotten."""
    zone = made(bounds)
    if zone is None:
        return
    expected = set()
    for point in points(zone):
        old = (0.0, *point)
        expected.add(tuple(old[k] + more for k, more in (first, second)))
    found = points(dbm.rearranged(zone, N, (first, second)))
    near = {p for p in expected if max(p) <= HALVES[-1]}
    assert near <= found
    # What is found beyond comes of old points beyond the grid.
    assert all(max(p) > MOST for p in found - near)


def beyond(point: Point, most: Sequence[int]) -> tuple[float | None, ...]:
    """A point, but for how far a clock is beyond its most."""
    return tuple(v if v <= m else None for v, m in zip(point, most, strict=True))


MOSTS = st.tuples(st.integers(0, MOST), st.integers(0, MOST))


@given(constraints(strict=False), MOSTS)
def test_extrapolation_adds_only_points_that_no_guard_tells_apart(
    bounds: list[Constraint], most: tuple[int, int]
) -> None:
    """Of whole numbers: each point added is like one that was there, beyond the same constants."""
    zone = made(bounds)
    if zone is None:
        return
    wide = dbm.extrapolated(zone, N, (0, *most), whole=True)
    there = {beyond(p, most) for p in points(zone, whole=True)}
    assert dbm.includes(wide, zone)
    assert {beyond(p, most) for p in points(wide, whole=True)} == there
    assert dbm.extrapolated(wide, N, (0, *most), whole=True) == wide


@given(constraints(), MOSTS)
def test_extrapolation_is_sound_for_fractions_too(
    bounds: list[Constraint], most: tuple[int, int]
) -> None:
    """The same with strict bounds, on halves that are near enough to have a like point there."""
    zone = made(bounds)
    if zone is None:
        return
    wide = dbm.extrapolated(zone, N, (0, *most))
    for point in points(wide):
        bounded = list(_like(point, most))
        assert made([*bounds, *bounded]) is not None


def _like(point: Point, most: Sequence[int]) -> Iterator[Constraint]:
    """What holds of points like this one, as far as whole numbers say it."""
    for clock, (value, limit) in enumerate(zip(point, most, strict=True), 1):
        if value > limit:
            yield 0, clock, dbm.less_than(-limit)
        elif value.is_integer():
            yield clock, 0, dbm.at_most(int(value))
            yield 0, clock, dbm.at_most(-int(value))
        else:
            yield clock, 0, dbm.less_than(int(value) + 1)
            yield 0, clock, dbm.less_than(-int(value))


def test_there_are_finitely_many_zones_with_extrapolation() -> None:
    """A clock that only grows comes to a zone that it does not leave."""
    zone, seen = dbm.rearranged((dbm.ZERO,), 1, ((0, 0), (0, 0))), set()
    for _ in range(50):
        seen.add(zone)
        # The second clock is set to 0 again and again, each time a tick later.
        zone = dbm.rearranged(zone, N, ((1, 1), (0, 0)))
        zone = dbm.extrapolated(zone, N, (0, 3, 3), whole=True)
    assert len(seen) == 5


@given(constraints(strict=False), st.integers(0, 6))
def test_a_zone_is_cut_at_a_value(bounds: list[Constraint], value: int) -> None:
    """What is left are its points at which the clock has this value."""
    zone = made(bounds)
    if zone is None:
        return
    cut = dbm.between(zone, N, 1, value, value)
    assert points(cut) == {p for p in points(zone) if p[0] == value}


@given(st.tuples(st.integers(0, 6), st.integers(0, 6)))
def test_clocks_that_are_set_are_a_point(values: tuple[int, int]) -> None:
    """In canonical form."""
    zone = dbm.rearranged((dbm.ZERO,), 1, [(0, value) for value in values])
    assert points(zone) == {values}
    assert dbm.closed(zone, N) == zone
