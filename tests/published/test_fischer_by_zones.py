"""Fischer's protocol by zones: who waits for longer than others write is alone.

Lamport, "A fast mutual exclusion algorithm" (1987), and every text on timed automata since, state
that the protocol excludes if and only if the wait is longer than the write; both from memory.
"""

from __future__ import annotations

import pytest

from modecheck.checks.judged import BROKEN, HOLDS
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.product.composition import compose
from modecheck.scenario.replay import replay
from tests.engine.zones.zone_graphs import explore_zones
from tests.generation.devices import device_from
from tests.generation.timed_examples import fischer

GRID = [(a, b) for a in range(1, 5) for b in range(1, 6)]


@pytest.mark.parametrize(("a", "b"), [*GRID, (3000, 3000), (3000, 3001)])
def test_two_exclude_each_other_if_they_wait_for_longer_than_they_write(a: int, b: int) -> None:
    """A break is shown by a run that the plain interpreter takes."""
    verdict = check([device_from(fischer(2, a, b))], search=Search(engine="zones"))
    (judged,) = verdict.requirements
    assert judged.verdict == (HOLDS if b > a else BROKEN)
    for finding in verdict.findings:
        if finding.trace is not None:
            list(replay(verdict.explored[0].exploration.product, finding.trace.moves))


def test_the_length_of_a_tick_makes_no_more_zones() -> None:
    """The same protocol in ticks a thousand times as fine has the same zones."""
    coarse, fine = (
        explore_zones(compose(device_from(fischer(2, a, b)))) for a, b in ((3, 5), (3000, 5000))
    )
    assert len(coarse.nodes) == len(fine.nodes) > 10
    assert coarse.layers == fine.layers


def test_three_exclude_each_other() -> None:
    """One more process, both ways."""
    for a, b, said in ((2, 3, HOLDS), (3, 3, BROKEN)):
        verdict = check([device_from(fischer(3, a, b))], search=Search(engine="zones"))
        assert verdict.requirements[0].verdict == said
