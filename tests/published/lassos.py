"""The formulas of Dwyer, Avrunin and Corbett, "Patterns in property specifications for finite-state
verification", ICSE 1999, as published, and an evaluator for them on words that go on for ever.
"""

from __future__ import annotations

from collections.abc import Callable

SCOPES = ("globally", "before", "after", "between", "after_until")

Truth = tuple[bool, ...]
"""Where a formula holds: one entry for each position of a lasso."""
ATOMS = "PQRS"


class Lasso:
    """A word that goes on for ever: after its last position comes the position `back`."""

    def __init__(self, word: tuple[int, ...], back: int) -> None:
        self.word = word
        self.back = back
        self.length = len(word)

    def atom(self, name: str) -> Truth:
        return tuple(bool(letter >> ATOMS.index(name) & 1) for letter in self.word)

    def after(self, position: int) -> int:
        return position + 1 if position + 1 < self.length else self.back

    def until(self, one: Truth, two: Truth, *, weak: bool = False) -> Truth:
        """The least (weak: the greatest) solution of `two or (one and next ...)`."""
        holds = [weak] * self.length
        for _ in range(self.length + 1):
            holds = [two[at] or (one[at] and holds[self.after(at)]) for at in range(self.length)]
        return tuple(holds)


def negated(one: Truth) -> Truth:
    return tuple(not value for value in one)


def both(*all_: Truth) -> Truth:
    return tuple(map(all, zip(*all_, strict=True)))


def either(*all_: Truth) -> Truth:
    return tuple(map(any, zip(*all_, strict=True)))


def implies(one: Truth, two: Truth) -> Truth:
    return either(negated(one), two)


def formula(pattern: str, scope: str, lasso: Lasso) -> bool:
    """The published formula, at the first position."""
    p, q, r, s = (lasso.atom(name) for name in ATOMS)
    true: Truth = (True,) * lasso.length

    def eventually(one: Truth) -> Truth:
        return lasso.until(true, one)

    def always(one: Truth) -> Truth:
        return negated(eventually(negated(one)))

    def weak(one: Truth, two: Truth) -> Truth:
        return lasso.until(one, two, weak=True)

    until = lasso.until
    opened_and_closed = both(q, negated(r), eventually(r))
    opened = both(q, negated(r))
    answered = implies(p, until(negated(r), both(s, negated(r))))
    no_p, no_q, no_r = negated(p), negated(q), negated(r)
    exists = weak(no_r, both(p, no_r))
    rows: dict[str, tuple[Callable[[], Truth], ...]] = {
        "never": (
            lambda: always(no_p),
            lambda: implies(eventually(r), until(no_p, r)),
            lambda: always(implies(q, always(no_p))),
            lambda: always(implies(opened_and_closed, until(no_p, r))),
            lambda: always(implies(opened, weak(no_p, r))),
        ),
        "always": (
            lambda: always(p),
            lambda: implies(eventually(r), until(p, r)),
            lambda: always(implies(q, always(p))),
            lambda: always(implies(opened_and_closed, until(p, r))),
            lambda: always(implies(opened, weak(p, r))),
        ),
        "eventually": (
            lambda: eventually(p),
            lambda: exists,
            lambda: either(always(no_q), eventually(both(q, eventually(p)))),
            lambda: always(implies(opened, exists)),
            lambda: always(implies(opened, until(no_r, both(p, no_r)))),
        ),
        "before": (
            lambda: weak(no_p, s),
            lambda: implies(eventually(r), until(no_p, either(s, r))),
            lambda: either(always(no_q), eventually(both(q, weak(no_p, s)))),
            lambda: always(implies(opened_and_closed, until(no_p, either(s, r)))),
            lambda: always(implies(opened, weak(no_p, either(s, r)))),
        ),
        "whenever": (
            lambda: always(implies(p, eventually(s))),
            lambda: implies(eventually(r), until(answered, r)),
            lambda: always(implies(q, always(implies(p, eventually(s))))),
            lambda: always(implies(opened_and_closed, until(answered, r))),
            lambda: always(implies(opened, weak(answered, r))),
        ),
    }
    return rows[pattern][SCOPES.index(scope)]()[0]
