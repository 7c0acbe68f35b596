"""Difference-bound matrices: sets of clock values that bounds on differences describe.

After Dill, "Timing assumptions and verification of finite-state concurrent systems" (1989), and
Bengtsson and Yi, "Timed automata: semantics, algorithms and tools" (2004); both from memory.

A zone over the clocks 1 to n-1 is a flat tuple of n * n bounds. The one at `i * n + j` bounds
`x[i] - x[j]` from above; clock 0 is always 0. A bound is one integer, `2 * c + 1` for `<= c` and
`2 * c` for `< c`, so that a smaller integer is a tighter bound. Every zone that a function takes or
gives is canonical (no bound can be tightened without losing a point) and has a point; a function
that may find no point gives None.
"""

from __future__ import annotations

from collections.abc import Sequence

Zone = tuple[int, ...]

UNBOUNDED = 1 << 62
"""No bound at all."""
ZERO = 1
"""At most 0."""


def at_most(ticks: int) -> int:
    """The bound `<= ticks`."""
    return 2 * ticks + 1


def less_than(ticks: int) -> int:
    """The bound `< ticks`."""
    return 2 * ticks


def added(one: int, other: int) -> int:
    """The bound that two bounds make together: strict if one of them is."""
    if one == UNBOUNDED or other == UNBOUNDED:
        return UNBOUNDED
    return one + other - ((one | other) & 1)


def closed(cells: Sequence[int], n: int) -> Zone | None:
    """The canonical form of any matrix (Floyd and Warshall), or None where it has no point."""
    found = list(cells)
    for k in range(n):
        through = found[k * n : k * n + n]
        for i in range(n):
            first = found[i * n + k]
            if first == UNBOUNDED:
                continue
            for j in range(n):
                bound = added(first, through[j])
                if bound < found[i * n + j]:
                    found[i * n + j] = bound
        if any(found[i * n + i] < ZERO for i in range(n)):
            return None
    return tuple(found)


def constrained(zone: Zone, n: int, i: int, j: int, bound: int) -> Zone | None:
    """The points of a zone at which also `x[i] - x[j]` keeps within a bound."""
    if bound >= zone[i * n + j]:
        return zone
    if added(zone[j * n + i], bound) < ZERO:
        return None
    found = list(zone)
    onward = [added(bound, zone[j * n + k]) for k in range(n)]
    for k in range(n):
        to_i = zone[k * n + i]
        if to_i == UNBOUNDED:
            continue
        row = k * n
        for m in range(n):
            through = onward[m]
            if through != UNBOUNDED:
                total = to_i + through - ((to_i | through) & 1)
                if total < found[row + m]:
                    found[row + m] = total
    return tuple(found)


def between(zone: Zone, n: int, clock: int, low: int, high: int | None) -> Zone | None:
    """The points at which a clock is from `low` to `high`; None for no highest."""
    found: Zone | None = zone
    if high is not None:
        found = constrained(zone, n, clock, 0, at_most(high))
    if found is None or low <= 0:
        return found
    return constrained(found, n, 0, clock, at_most(-low))


def later(zone: Zone, n: int) -> Zone:
    """What the points of a zone come to as any time passes."""
    found = list(zone)
    for i in range(1, n):
        found[i * n] = UNBOUNDED
    return tuple(found)


def rearranged(zone: Zone, n: int, sources: Sequence[tuple[int, int]]) -> Zone:
    """A zone over other clocks: each is an old one (0 for none) and so many ticks more.

    `(0, c)` sets a clock to `c`, `(k, 0)` copies, moves or keeps clock `k`, `(k, 1)` lets a tick
    pass. Clocks that are no source are forgotten.
    """
    all_sources = ((0, 0), *sources)
    found = []
    for i, more in all_sources:
        row = i * n
        for j, less in all_sources:
            bound = zone[row + j]
            found.append(bound if bound == UNBOUNDED else bound + 2 * (more - less))
    return tuple(found)


def includes(zone: Zone, other: Zone) -> bool:
    """Whether every point of the other zone is one of this."""
    return all(map(int.__ge__, zone, other))


def extrapolated(zone: Zone, n: int, most: Sequence[int], *, whole: bool = False) -> Zone:
    """A zone that forgets by how much a clock is beyond `most` of it (`most[0]` is not read).

    Whatever point is added is like one of the zone: each clock has the same value in both, or is
    beyond its most in both. So no guard that compares a single clock with a constant up to its
    most tells them apart, and there are finitely many such zones: sound and complete for what can
    be reached where no guard compares two clocks (Bouyer, "Forward analysis of updatable timed
    automata", 2004, from memory). With `whole`, only points of whole numbers count, and beyond
    means at least one more.
    """
    found = list(zone)
    changed = False
    for i in range(n):
        for j in range(n):
            bound = found[i * n + j]
            if i == j or bound == UNBOUNDED:
                continue
            if i and bound > at_most(most[i]):
                found[i * n + j] = UNBOUNDED
                changed = True
            elif j:
                beyond = at_most(-most[j] - 1) if whole else less_than(-most[j])
                if bound < beyond:
                    found[i * n + j] = beyond
                    changed = True
    if not changed:
        return zone
    wider = closed(found, n)
    assert wider is not None  # it holds all points of the zone
    return wider
