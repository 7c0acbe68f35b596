"""The automaton of `exactly_once`: what is sent arrives once, in order, whatever it passes through.

Items are judged as the receiver sees them: the k-th received against the k-th sent. So that any
number of items is covered, one of them, chosen at will, is followed, and of the others no more is
remembered than how many have to arrive before it (after Wolper, "Expressing interesting properties
of programs in propositional temporal logic", POPL 1986, who marks one item).

Where loss is allowed for a while (`may_lose`), what is under way then is forgiven: it may still
arrive. A reception counts for what still has to arrive first, and for a forgiven item otherwise:
of all readings the one that blames least. Forgiven items that are lost for good never show, so
they are counted up to as many as may be under way at a time, and no further.

One step sends and delivers at most one item of a kind; kinds that are sent together are sent in
their order.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from functools import cache

from modecheck.product.automata import Automaton, AutomatonSketch

DUPLICATED, OUT_OF_ORDER, OVERRUN = "duplicated", "out of order", "overrun"
"""What is received that nobody sent (any more); what arrives in another's place; more are under way
than there should be."""


@dataclass(frozen=True, slots=True)
class Counting:
    """Nothing is followed yet. `due` have to arrive, `forgiven` may; with `armed`, the next item
    that is sent is the one to follow.
    """

    due: int = 0
    forgiven: int = 0
    armed: bool = False


@dataclass(frozen=True, slots=True)
class Following:
    """An item of `kind` is followed; `due` have to arrive before it, `forgiven` may."""

    kind: int
    due: int
    forgiven: int


@dataclass(frozen=True, slots=True)
class ExchangeFault:
    why: str


DONE = "done"
"""The item has arrived, or is forgiven."""


def exchange_atoms(kinds: int) -> int:
    """Atoms: for each kind whether one is sent, for each whether one is received, `may_lose`."""
    return 2 * kinds + 1


@cache
def exchange_automaton(kinds: int, under_way: int, *, strict: bool = False) -> Automaton:
    """Judges items of so many kinds, of which at most `under_way` have not arrived at any time.

    When it is `strict`, more of them break the requirement; else they make the automaton unsure.
    """
    exchange = _Exchange(kinds, under_way)
    return AutomatonSketch(
        start=Counting(),
        atoms=exchange_atoms(kinds),
        step=exchange.step,
        bad=lambda state: _why(state, strict=strict),
        alive=lambda state: isinstance(state, Following),
        triggered=lambda _, valuation: bool(valuation & ((1 << kinds) - 1)),
        choices=exchange.choices,
        unsure=lambda state: state == OVERRUN and not strict,
    ).build()


def _why(state: Hashable, *, strict: bool) -> str:
    """What went wrong when this state is entered, if anything did."""
    if isinstance(state, ExchangeFault):
        return state.why
    return OVERRUN if strict and state == OVERRUN else ""


class _Exchange:
    def __init__(self, kinds: int, under_way: int) -> None:
        self._kinds = kinds
        self._most = under_way

    def choices(self, state: Hashable) -> Iterable[Hashable]:
        if isinstance(state, Counting) and not state.armed:
            yield replace(state, armed=True)

    def step(self, state: Hashable, valuation: int) -> Hashable:
        """What arrives in a step was on its way before what is sent in it."""
        kinds = range(self._kinds)
        for kind in kinds:
            if valuation >> (self._kinds + kind) & 1:
                state = self._received(state, kind)
        for kind in kinds:
            if valuation >> kind & 1:
                state = self._sent(state, kind)
        if valuation >> 2 * self._kinds & 1:
            state = self._forgiven(state)
        return state

    def _sent(self, state: Hashable, kind: int) -> Hashable:
        if not isinstance(state, Counting):
            return state
        if state.armed:
            return Following(kind, state.due, state.forgiven)
        if state.due >= self._most:
            return OVERRUN
        return replace(state, due=state.due + 1)

    def _received(self, state: Hashable, kind: int) -> Hashable:
        if isinstance(state, Counting | Following):
            if state.due:
                return replace(state, due=state.due - 1)
            if isinstance(state, Following) and kind == state.kind:
                return DONE
            if state.forgiven:
                return replace(state, forgiven=state.forgiven - 1)
            return ExchangeFault(OUT_OF_ORDER if isinstance(state, Following) else DUPLICATED)
        return state

    def _forgiven(self, state: Hashable) -> Hashable:
        if isinstance(state, Following):
            return DONE
        if isinstance(state, Counting):
            return replace(state, due=0, forgiven=min(state.forgiven + state.due, self._most))
        return state
