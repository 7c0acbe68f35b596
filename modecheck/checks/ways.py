"""Ways through a product: how the device comes from its initial state to what was found."""

from __future__ import annotations

from dataclasses import dataclass, replace

from modecheck.engine.plain import State
from modecheck.engine.space import Edge, FairLoop, Path, Sighting, Space
from modecheck.product.form import Product


@dataclass(frozen=True, slots=True)
class Move:
    """A step by its label (number), and the state after it; None after a failing step."""

    label: int
    after: State | None


@dataclass(frozen=True, slots=True)
class Way:
    """Moves from the initial state. `switch_from` is where a mode switch begins in it, or 0.

    With `loop_from`, the moves from there on are gone round for ever; there are none where nothing
    has to happen any more.
    """

    moves: tuple[Move, ...]
    switch_from: int = 0
    loop_from: int | None = None


def way_to(space: Space, number: int) -> Way:
    """A shortest way to a state."""
    return _as_way(space, space.path_to(number))


def way_to_failure(space: Space, sighting: Sighting) -> Way:
    """A shortest way to a failing step, that step included."""
    way = way_to(space, sighting.state)
    return Way((*way.moves, Move(sighting.label, None)))


def way_over(space: Space, source: int, edge: Edge) -> Way:
    """A shortest way to the state `source`, and on over one of its transitions."""
    return _as_way(space, [*space.path_to(source), (edge.label, edge.target)])


def way_along(space: Space, start: int, path: Path) -> Way:
    """A shortest way to `start`, and on along a path; the path is marked as a switch."""
    before = space.path_to(start)
    return _as_way(space, before + path, switch_from=len(before))


def way_round(space: Space, found: FairLoop) -> Way:
    """A shortest way to a loop, and once round it."""
    way = _as_way(space, [*found.stem, *found.loop])
    return replace(way, loop_from=len(found.stem))


def without_watchers(product: Product, way: Way) -> Way:
    """A way through a watched product as one through the product itself: what only watchers did,
    and idling, is left out.
    """
    moves: list[Move] = []
    loop_from = way.loop_from
    for position, move in enumerate(way.moves):
        if move.label >= len(product.labels):
            if way.loop_from is not None and loop_from is not None and position < way.loop_from:
                loop_from -= 1
            continue
        after = None if move.after is None else move.after[: len(product.fields)]
        moves.append(Move(move.label, after))
    return Way(tuple(moves), way.switch_from, loop_from)


def _as_way(space: Space, path: Path, *, switch_from: int = 0) -> Way:
    moves = tuple(Move(label, space.state(number)) for label, number in path)
    return Way(moves, switch_from)
