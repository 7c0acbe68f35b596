"""The automata of the requirement patterns, in each of their scopes.

Patterns and scopes are those of Dwyer, Avrunin and Corbett, "Patterns in property specifications
for finite-state verification", ICSE 1999, with the meaning that their formulas give them: a scope
"between" counts only once it is closed, one "after, until" also while it stays open, and what holds
at the position that closes a scope is outside it. For precedence after Q this keeps to the
published formula: it is enough that P waits for S from some Q on.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import cache
from typing import NamedTuple

from modecheck.product.automata import Automaton, AutomatonSketch

PATTERNS = ("never", "always", "eventually", "whenever", "before")
"""Absence, universality, existence, response, precedence."""

OUTSIDE, GOOD = "outside", "good"
BROKEN = "broken"

Phase = Hashable
"""Where a pattern stands inside its scope."""


def atoms_of(pattern: str, scope: str) -> str:
    """The atoms, in the order of their bits: P, S if the pattern has one, Q opens, R closes, T
    if it can be too late.
    """
    second = "S" if pattern in ("whenever", IN_TIME, "before") else ""
    return f"P{second}{SCOPE_ATOMS[scope]}{'T' if pattern == IN_TIME else ''}"


SCOPE_ATOMS = {"globally": "", "before": "R", "after": "Q", "between": "QR", "after_until": "QR"}
IN_TIME = "whenever in time"
"""A response within a time: its automaton counts as long as it is in one of `counting` states."""


class Now(NamedTuple):
    """Which atoms hold at a position; those that the pattern or scope lacks are false."""

    p: bool = False
    s: bool = False
    q: bool = False
    r: bool = False
    t: bool = False


class _Inside:
    """A pattern inside an open scope: `begin`, then `step` for each position inside.

    `closes_badly` says whether closing the scope in this phase is a violation; `waits`, whether
    a scope that stays open forever in this phase is one. A phase `BROKEN` is final. Some
    patterns are tested only at positions where P holds.
    """

    tested_by_p = False

    def begin(self) -> Phase:
        return "fine"

    def step(self, phase: Phase, now: Now) -> Phase:
        raise NotImplementedError

    def opened_again(self, phase: Phase) -> Phase:
        """The phase when a scope that is already open is opened again: both openings count."""
        return phase

    def closes_badly(self, phase: Phase) -> bool:
        return phase == BROKEN

    def waits(self, phase: Phase) -> bool:  # noqa: ARG002 - others need it
        return False


class _Never(_Inside):
    def step(self, phase: Phase, now: Now) -> Phase:
        return BROKEN if now.p else phase


class _Always(_Inside):
    def step(self, phase: Phase, now: Now) -> Phase:
        return phase if now.p else BROKEN


class _Eventually(_Inside):
    def begin(self) -> Phase:
        return "waiting"

    def opened_again(self, phase: Phase) -> Phase:  # noqa: ARG002 - others need it
        return "waiting"

    def step(self, phase: Phase, now: Now) -> Phase:
        return "seen" if now.p else phase

    def closes_badly(self, phase: Phase) -> bool:
        return phase == "waiting"

    def waits(self, phase: Phase) -> bool:
        return phase == "waiting"


class _Whenever(_Inside):
    def step(self, phase: Phase, now: Now) -> Phase:
        if now.s:
            return "fine"
        return "waiting" if now.p else phase

    def closes_badly(self, phase: Phase) -> bool:
        return phase == "waiting"

    def waits(self, phase: Phase) -> bool:
        return phase == "waiting"

    tested_by_p = True


class _WheneverInTime(_Whenever):
    """The time since the oldest P without S is counted beside the automaton, while it waits."""

    def step(self, phase: Phase, now: Now) -> Phase:
        if phase == BROKEN or (phase == "waiting" and now.t):
            return BROKEN
        return super().step(phase, now)

    def closes_badly(self, phase: Phase) -> bool:
        return phase in ("waiting", BROKEN)


class _Before(_Inside):
    def opened_again(self, phase: Phase) -> Phase:
        return phase if phase == BROKEN else "fine"

    def step(self, phase: Phase, now: Now) -> Phase:
        if phase != "fine" or now.s:
            return "allowed" if phase == "fine" else phase
        return BROKEN if now.p else phase

    tested_by_p = True


INSIDE: dict[str, _Inside] = {
    "never": _Never(),
    "always": _Always(),
    "eventually": _Eventually(),
    "whenever": _Whenever(),
    IN_TIME: _WheneverInTime(),
    "before": _Before(),
}


@cache
def automaton_of(pattern: str, scope: str) -> Automaton:
    """The automaton of a pattern in a scope; its atoms are `atoms_of`."""
    if pattern == "before" and scope == "after":
        return _precedence_after()
    atoms = atoms_of(pattern, scope)
    inside = INSIDE[pattern]
    steps: dict[str, Callable[[_Inside, Hashable, Now], Hashable]] = {
        "globally": _globally,
        "before": _before,
        "after": _after,
        "between": _between,
        "after_until": _between,
    }
    advance = steps[scope]

    def named(valuation: int) -> Now:
        held = {name.lower(): bool(valuation >> bit & 1) for bit, name in enumerate(atoms)}
        return Now(**held)

    def alive(state: Hashable) -> bool:
        # If a scope counts only once it is closed, staying in it forever violates nothing.
        return scope in ("globally", "after", "after_until") and inside.waits(state)

    def bad(state: Hashable) -> str:
        forever = state == BROKEN and scope in ("globally", "after", "after_until")
        return "broken" if state == LOST or forever else ""

    def triggered(state: Hashable, valuation: int) -> bool:
        now = named(valuation)
        inside_now = state not in (OUTSIDE, GOOD, LOST)
        if scope in ("before", "between") and not inside.tested_by_p:
            return inside_now and now.r  # only a scope that is closed counts
        open_ = inside_now or (state == OUTSIDE and now.q)
        return open_ and not now.r and (now.p or not inside.tested_by_p)

    begins = OUTSIDE if scope in ("after", "between", "after_until") else inside.begin()
    sketch = AutomatonSketch(
        start=begins,
        atoms=len(atoms),
        step=lambda state, valuation: advance(inside, state, named(valuation)),
        bad=bad,
        alive=alive,
        triggered=triggered,
        counting=lambda state: pattern in ("whenever", IN_TIME) and state == "waiting",
    )
    return sketch.build()


LOST = "lost"
"""The scope is closed, and the pattern was broken in it."""


def _globally(inside: _Inside, state: Hashable, now: Now) -> Hashable:
    return inside.step(state, now)


def _before(inside: _Inside, state: Hashable, now: Now) -> Hashable:
    """Only the first R counts, and only if there is one."""
    if state in (GOOD, LOST):
        return state
    if now.r:
        return LOST if inside.closes_badly(state) else GOOD
    return inside.step(state, now)


def _after(inside: _Inside, state: Hashable, now: Now) -> Hashable:
    """From the first Q on."""
    if state == OUTSIDE:
        if not now.q:
            return OUTSIDE
        state = inside.begin()
    return inside.step(state, now)


def _between(inside: _Inside, state: Hashable, now: Now) -> Hashable:
    """From each Q without R to the next R; whether it has to be closed, `alive` and `bad` say."""
    if state == LOST:
        return LOST
    if now.r:
        return LOST if state != OUTSIDE and inside.closes_badly(state) else OUTSIDE
    if state == OUTSIDE:
        if not now.q:
            return OUTSIDE
        state = inside.begin()
    elif now.q:
        state = inside.opened_again(state)
    return inside.step(state, now)


def _precedence_after() -> Automaton:
    """Some Q from which P waits for S, or no Q: `G !Q or F(Q & (!P W S))`.

    An attempt begins at some Q. While it is open, nothing is violated; P makes it fail, S makes it
    succeed for good. A run violates the requirement if there was a Q, no attempt succeeded, and
    infinitely often none is open.
    """

    def step(state: Hashable, valuation: int) -> Hashable:
        p, s, q = (bool(valuation >> bit & 1) for bit in range(3))
        if state == GOOD:
            return GOOD
        open_ = state == "open" or q
        if open_ and s:
            return GOOD
        if open_ and p:
            return "failed"
        return "open" if open_ else state

    return AutomatonSketch(
        start=OUTSIDE,
        atoms=3,
        step=step,
        alive=lambda state: state in ("open", "failed"),
        again=lambda state: state == "failed",
        triggered=lambda state, valuation: (
            bool(valuation & 1) and (state != OUTSIDE or bool(valuation & 4))
        ),
    ).build()
