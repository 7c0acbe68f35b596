"""Machines that talk over channels: crossing messages, the alternating bit, chains of buffers.

The marks (PC, MC, C) are explained in conftest.py.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from modecheck.engine.search.exploration import PlainExploration

Explored = Callable[[str], PlainExploration]

UNSPECIFIED_RECEPTIONS = {
    ("unspecified-reception", "user.wait.alarm"),
    ("unspecified-reception", "server.fault.req"),
}


def rules_taken(exploration: PlainExploration) -> set[str]:
    """The labels of all transitions."""
    return {exploration.product.labels[label].text for label in exploration.graph.labels}


def test_crossing_messages_have_two_unspecified_receptions(explored: Explored) -> None:
    """Brand and Zafiropulo 1983 (MC): at capacity 2 (wait, ALARM), (fault, REQ), no more."""
    exploration = explored("brand_zafiropulo")
    assert set(exploration.failures) == UNSPECIFIED_RECEPTIONS


def test_crossing_messages_overflow_channels_of_one_place(explored: Explored) -> None:
    """Brand and Zafiropulo 1983 (MC): overflow at capacity 1 besides the unspecified receptions."""
    failures = set(explored("brand_zafiropulo_1").failures)
    assert failures > UNSPECIFIED_RECEPTIONS
    assert {code for code, _ in failures - UNSPECIFIED_RECEPTIONS} == {"overflow"}


def test_crossing_messages_execute_every_transition(explored: Explored) -> None:
    """Brand and Zafiropulo 1983 (MC): each of the eight transitions can be executed."""
    exploration = explored("brand_zafiropulo")
    assert len(exploration.product.rules) == 8
    assert {
        label.rule for label in exploration.product.labels if label.text in rules_taken(exploration)
    } == set(range(8))


def test_crossing_messages_never_wait_for_each_other_with_empty_channels(
    explored: Explored,
) -> None:
    """Brand and Zafiropulo 1983 (MC): no deadlock with empty channels."""
    exploration = explored("brand_zafiropulo")
    assert not any(exploration.graph.is_quiescent)


@pytest.mark.parametrize(
    ("kinds", "states", "transitions"), [(1, 108, 278), (2, 220, 590), (3, 344, 942)]
)
def test_alternating_bit_has_the_counted_size(
    explored: Explored, kinds: int, states: int, transitions: int
) -> None:
    """Bartlett et al. 1969, Milner 1989: sizes for one to three kinds of items (C)."""
    exploration = explored(f"alternating_bit_{kinds}")
    assert (exploration.state_count, exploration.transitions) == (states, transitions)


@pytest.mark.parametrize("kinds", [1, 2, 3])
def test_alternating_bit_delivers_rightly_and_always_goes_on(
    explored: Explored, kinds: int
) -> None:
    """Milner 1989 (MC): always a step, if only a loss; nothing delivered wrongly."""
    exploration = explored(f"alternating_bit_{kinds}")
    assert all(exploration.graph.edges(state) for state in range(exploration.expanded))
    assert not list(exploration.numbered(exploration.mark("requirement:right_delivery")))
    assert not exploration.failures


def test_receiver_that_disregards_the_bit_delivers_wrongly_at_depth_nine(
    explored: Explored,
) -> None:
    """Two kinds of items: the first wrong delivery is 9 steps away (C)."""
    exploration = explored("alternating_bit_broken")
    wrong = next(exploration.numbered(exploration.mark("requirement:right_delivery")))
    assert exploration.depth_of(wrong) == 9


def test_no_bit_is_enough_where_messages_overtake_each_other(explored: Explored) -> None:
    """Wang and Zuck 1989 (MC): finitely many headers do not do over links that reorder. The first
    wrong delivery is 15 steps away (C); with the same two places and in order there is none.
    """
    exploration = explored("alternating_bit_reordered")
    wrong = next(exploration.numbered(exploration.mark("requirement:right_delivery")))
    assert exploration.depth_of(wrong) == 15


@pytest.mark.parametrize("length", [1, 2, 3, 4])
def test_chain_of_buffers_has_every_filling(explored: Explored, length: int) -> None:
    """Milner 1989 (MC): (k + 1)^N states for N buffers of one place and k = 2 values."""
    exploration = explored(f"buffers_{length}")
    assert exploration.state_count == 3**length
    assert not any(exploration.graph.is_quiescent)
    assert not exploration.failures
