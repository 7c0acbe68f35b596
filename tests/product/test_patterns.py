"""Where a requirement is put to the test, since what holds only as that never happens is vacuous;
and what an answer in time is.
"""

from __future__ import annotations

from itertools import product

import pytest

from modecheck.product.patterns import IN_TIME, PATTERNS, atoms_of, automaton_of
from tests.published.lassos import SCOPES

Word = tuple[tuple[bool, ...], ...]
"""For each position whether P holds, whether S does, and whether it is a tick."""


def is_put_to_the_test(pattern: str, scope: str, run: str) -> bool:
    """Whether a run, positions with the letters of what holds, puts the requirement to the test."""
    automaton, atoms = automaton_of(pattern, scope), atoms_of(pattern, scope)
    state, found = automaton.start, False
    for position in run.split(","):
        bits = sum(1 << bit for bit, name in enumerate(atoms) if name in position)
        found |= (state << automaton.atoms | bits) in automaton.triggers
        state = automaton.after(state, bits)
    return found


@pytest.mark.parametrize("pattern", ["never", "always", "eventually"])
@pytest.mark.parametrize(
    ("scope", "run", "expected"),
    [
        ("globally", "-", True),
        ("before", "-,P,-", False),
        ("before", "-,R", True),
        ("after", "-,P", False),
        ("after", "-,Q", True),
        ("between", "R,Q,P", False),
        ("between", "QR,R", False),
        ("between", "Q,-,R", True),
        ("after_until", "R,-", False),
        ("after_until", "QR,-", False),
        ("after_until", "-,Q", True),
    ],
)
def test_a_scope_that_counts_is_a_test(pattern: str, scope: str, run: str, expected: bool) -> None:
    """It has to be opened and, where only a closed scope counts, closed again."""
    assert is_put_to_the_test(pattern, scope, run) is expected


@pytest.mark.parametrize("pattern", ["whenever", "before"])
@pytest.mark.parametrize(
    ("scope", "run", "expected"),
    [
        ("globally", "-,S,-", False),
        ("globally", "-,P", True),
        ("before", "-,R,P", False),
        ("before", "S,P", True),
        ("after", "P,Q,-", False),
        ("after", "Q,P", True),
        ("after", "PQ", True),
        ("after", "Q,S,-", False),
        ("after", "Q,S,P", True),
        ("between", "P,Q,-,R,P", False),
        ("between", "Q,P,R", True),
        ("after_until", "Q,-,R,P", False),
        ("after_until", "Q,P", True),
    ],
)
def test_its_trigger_inside_a_scope_is_a_test(
    pattern: str, scope: str, run: str, expected: bool
) -> None:
    """What has to be answered, or preceded, has to happen."""
    assert is_put_to_the_test(pattern, scope, run) is expected


@pytest.mark.parametrize("scope", SCOPES)
@pytest.mark.parametrize("pattern", PATTERNS)
def test_what_breaks_a_requirement_puts_it_to_the_test(pattern: str, scope: str) -> None:
    """There is no path into a bad state, or into one that it must not come to for ever, without."""
    automaton = automaton_of(pattern, scope)
    queue, reached = [automaton.start], set[int]()
    for state in queue:  # grows while it is gone through
        for bits in range(1 << automaton.atoms):
            index = state << automaton.atoms | bits
            after = automaton.table[index]
            if index not in automaton.triggers and after not in reached:
                reached.add(after)
                queue.append(after)
    assert not reached & (automaton.bad.keys() | automaton.again)


def too_late(word: Word, most: int) -> bool:
    """Whether some P has no S before more than so many ticks: by definition, place by place."""
    for i, (p, _, _) in enumerate(word):
        for k in range(i + 1, len(word)):
            ticks = sum(tick for _, _, tick in word[i + 1 : k + 1])
            if p and ticks > most and not any(s for _, s, _ in word[i:k]):
                return True
    return False


@pytest.mark.parametrize("most", [0, 1, 2])
def test_a_response_in_time_is_judged_as_defined(most: int) -> None:
    """On all words of five positions, each of which may be a tick: counted as observers count."""
    automaton = automaton_of(IN_TIME, "globally")
    assert atoms_of(IN_TIME, "globally") == "PST"
    for word in product(product((False, True), repeat=3), repeat=5):
        state = count = 0
        for p, s, tick in word:
            count += tick and state in automaton.counting
            state = automaton.after(state, p | s << 1 | (count > most) << 2)
            count *= state in automaton.counting
        assert (state in automaton.bad) == too_late(word, most), (word, most)
