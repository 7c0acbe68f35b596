"""The 25 patterns and scopes of Dwyer, Avrunin and Corbett, "Patterns in property specifications
for finite-state verification", ICSE 1999 (formulas as published; counts by brute force only).

Each formula is evaluated on all 12,816 lassos (a word of length 1 to 3 over P, Q, R, S, and where
it goes on from its end) by an evaluator of this test, straight from the formula, and by the
automaton that stands for it in a product.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import product as tuples

import pytest

from modecheck.product.automata import Automaton
from modecheck.product.patterns import PATTERNS, atoms_of, automaton_of
from tests.published.lassos import ATOMS, SCOPES, Lasso, formula
from tests.sweeps import sweep

SATISFIED = {
    "never": (1672, 10064, 3644, 10112, 8146),
    "always": (1672, 10064, 3644, 10112, 8146),
    "eventually": (11144, 4424, 10844, 10592, 9734),
    "before": (8620, 11536, 10438, 11456, 10463),
    "whenever": (10060, 11536, 10506, 11536, 10923),
}
"""Lassos that satisfy each pattern, scopes in the order of `SCOPES`."""


def lassos() -> Iterator[Lasso]:
    for length in (1, 2, 3):
        for word in tuples(range(16), repeat=length):
            for back in range(length):
                yield Lasso(word, back)


@cache
def satisfying(pattern: str, scope: str) -> tuple[bool, ...]:
    """For each lasso whether the formula holds on it."""
    return tuple(formula(pattern, scope, lasso) for lasso in lassos())


def breaks(automaton: Automaton, stem: Sequence[int], loop: Sequence[int]) -> bool:
    """Whether a run (`stem`, then `loop` forever, as valuations) violates the requirement."""
    state = automaton.start
    for valuation in stem:
        state = automaton.after(state, valuation)
        if state in automaton.bad:
            return True
    begun: dict[int, int] = {}
    rounds: list[list[int]] = []
    while state not in begun:
        begun[state] = len(rounds)
        passed = []
        for valuation in loop:
            state = automaton.after(state, valuation)
            passed.append(state)
        rounds.append(passed)
        if any(one in automaton.bad for one in passed):
            return True
    cycle = [one for passed in rounds[begun[state] :] for one in passed]
    return all(one in automaton.alive for one in cycle) and any(
        one in automaton.again for one in cycle
    )


@pytest.mark.parametrize("scope", sweep(SCOPES, lambda scope: scope == "globally"))
@pytest.mark.parametrize("pattern", PATTERNS)
def test_formula_holds_on_as_many_lassos_as_counted(pattern: str, scope: str) -> None:
    """The counts of a brute-force evaluation that was made before."""
    held = satisfying(pattern, scope)
    assert len(held) == 12816
    assert sum(held) == SATISFIED[pattern][SCOPES.index(scope)]


@pytest.mark.parametrize("scope", sweep(SCOPES, lambda scope: scope in ("globally", "between")))
@pytest.mark.parametrize("pattern", PATTERNS)
def test_automaton_judges_every_lasso_as_the_formula_does(pattern: str, scope: str) -> None:
    """It breaks exactly the lassos on which the formula does not hold."""
    automaton, atoms = automaton_of(pattern, scope), atoms_of(pattern, scope)
    bits = [
        sum(1 << bit for bit, name in enumerate(atoms) if letter >> ATOMS.index(name) & 1)
        for letter in range(16)
    ]
    for lasso, holds in zip(lassos(), satisfying(pattern, scope), strict=True):
        word = [bits[letter] for letter in lasso.word]
        assert breaks(automaton, word[: lasso.back], word[lasso.back :]) is not holds
