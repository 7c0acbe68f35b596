"""Where a requirement is put to the test: what holds only since that never happens is vacuous."""

from __future__ import annotations

import pytest

from modecheck.product.patterns import PATTERNS, SCOPES, atoms_of, automaton_of


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
    """There is no road into a bad state, or into one that it must not come to for ever, without."""
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
