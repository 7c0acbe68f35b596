"""Two processes and a critical section, one numbered line a step.

Verdicts: Dijkstra, Cooperating sequential processes (EWD123), 1965; Ben-Ari, Principles of
concurrent and distributed programming, 2006, chapter 3; Baier and Katoen, Principles of model
checking, 2008. The marks (PC, MC, C) are explained in conftest.py; the counts of the attempts and
of Dekker's algorithm are C, those of Peterson's are MC.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from modecheck.engine.search.exploration import PlainExploration

Explored = Callable[[str], PlainExploration]

SIZES = {
    "exclusion_a1": (12, 18),
    "exclusion_a2": (16, 30),
    "exclusion_a3": (15, 26),
    "dekker": (110, 208),
    "peterson": (20, 34),
    "peterson_atomic": (10, 16),
    "peterson_swapped": (32, 60),
}
VIOLATED_AT = {"exclusion_a2": 6, "peterson_swapped": 6}


@pytest.mark.parametrize("model", SIZES)
def test_size_is_the_published_one(explored: Explored, model: str) -> None:
    """States and transitions are those of the sources named above."""
    exploration = explored(model)
    assert (exploration.state_count, exploration.transitions) == SIZES[model]


@pytest.mark.parametrize("model", SIZES)
def test_exclusion_is_violated_where_it_is_known_to_be(explored: Explored, model: str) -> None:
    """Only the second attempt (MC) and the swapped lines (MC) let both in, at depth 6."""
    exploration = explored(model)
    both = [
        exploration.depth_of(state)
        for state in exploration.numbered(exploration.mark("requirement:exclusion"))
    ]
    assert both[:1] == ([VIOLATED_AT[model]] if model in VIOLATED_AT else [])


@pytest.mark.parametrize("model", SIZES)
def test_only_the_third_attempt_has_a_deadlock(explored: Explored, model: str) -> None:
    """One state without a successor in the third attempt (PC), none elsewhere (MC)."""
    exploration = explored(model)
    stuck = [state for state in range(exploration.expanded) if not exploration.graph.edges(state)]
    assert len(stuck) == (1 if model == "exclusion_a3" else 0)


def test_dekker_goes_twenty_one_steps_deep(explored: Explored) -> None:
    """The farthest state of Dekker's algorithm is 21 steps away (C)."""
    assert explored("dekker").depth == 21
