"""Postman tours and words that tell states apart. The marks (PC, MC, C) are explained in
conftest.py.
"""

from __future__ import annotations

from modecheck.tours.mealy import Mealy, Word
from modecheck.tours.postman import Arc, postman_tour
from modecheck.tours.w_method import characterising_set, state_cover, transition_cover, words_to_run

MEALY = Mealy(
    inputs=("a", "b"),
    following=((0, 3), (0, 4), (4, 0), (2, 3), (1, 4)),
    outputs=(("0", "1"), ("0", "1"), ("0", "1"), ("1", "1"), ("1", "1")),
)
"""Mathur, Foundations of Software Testing, chapter on finite state models: five states, W of four
words (PC); states are numbered from 0 here.
"""


def spelled(words: tuple[Word, ...]) -> set[str]:
    return {"".join("ab"[number] for number in word) for word in words}


def test_the_postman_goes_ten_arcs() -> None:
    """Thimbleby 2003 (MC): arcs 0-1 0-2 1-2 1-3 2-3 3-0 of cost 1 take a closed tour of 10."""
    ends = [(0, 1), (0, 2), (1, 2), (1, 3), (2, 3), (3, 0)]
    tour = postman_tour(4, [Arc(tail, head) for tail, head in ends], 0, closed=True)
    assert (tour.cost, tour.resets) == (10, 0)
    assert set(tour.walks[0]) == set(range(6))


def test_the_characterising_set_is_the_published_one() -> None:
    """Mathur (PC): W = {a, aa, aaa, baaa}."""
    assert spelled(characterising_set(MEALY)) == {"a", "aa", "aaa", "baaa"}


def test_transition_cover_and_characterising_set_give_29_words() -> None:
    """Mathur (PC): 29 different words; a transition cover is a state cover with one input more."""
    assert spelled(state_cover(MEALY)) == {"", "b", "ba", "baa", "baaa"}
    assert len(transition_cover(MEALY)) == 11
    assert len(words_to_run(MEALY)) == 29
