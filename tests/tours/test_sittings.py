"""Long walks cut into parts that each begin at the start."""

from __future__ import annotations

from random import Random

from modecheck.tours.postman import Arc, postman_tour
from modecheck.tours.sittings import cut_into_sittings


def test_parts_are_walks_from_the_start_that_take_every_arc() -> None:
    """On random graphs that come round to the start; no part is longer than was asked for, unless
    its road is; and each takes an arc that those before it left.
    """
    rng = Random(7)  # noqa: S311 - no secret
    for _ in range(20):
        nodes = rng.randrange(3, 12)
        arcs = [Arc(n, (n + 1) % nodes) for n in range(nodes)]
        arcs += [Arc(rng.randrange(nodes), rng.randrange(nodes)) for _ in range(60)]
        walks = postman_tour(nodes, arcs, 0, closed=False).walks
        parts = cut_into_sittings(walks, arcs, 0, 20)
        taken: set[int] = set()
        for part in parts:
            at = 0
            for number in part:
                assert arcs[number].tail == at
                at = arcs[number].head
            assert len(part) <= max(20, nodes - 1 + 5)
            assert set(part) - taken
            taken |= set(part)
        assert taken == set(range(len(arcs)))


def test_what_is_short_enough_stays_whole() -> None:
    """Nothing is cut, and nothing begins anew."""
    arcs = [Arc(0, 1), Arc(1, 0)]
    assert cut_into_sittings([(0, 1)], arcs, 0, 2) == ((0, 1),)
