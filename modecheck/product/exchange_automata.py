"""The automaton of `exactly_once`: what is sent arrives once, in order, whatever it passes through.

The k-th item received is compared with the k-th sent. To cover any number of items, the automaton
follows a single one, chosen nondeterministically, and remembers of the others only how many must
arrive before it (after Wolper, "Expressing interesting properties of programs in propositional
temporal logic", POPL 1986, who marks one item). A violation on any item is found by the run that
chose this item.

While loss is allowed (`may_lose`), items in flight are forgiven: they may still arrive. A reception
is credited to an item that still has to arrive, and to a forgiven one only if there is none: the
most lenient interpretation. Whether a forgiven item was lost for good cannot be observed, so the
count of forgiven items saturates at the number that can be in flight at a time.

Items of one kind cannot be told apart, so one that is lost would only be missed when no more are
sent. A link that is known to drop one shows the loss at once.

One step sends and delivers at most one item of a kind; kinds that are sent together are sent in
their order. Which of them is followed is chosen before that step.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from functools import cache

from modecheck.product.automata import Automaton, AutomatonSketch

DUPLICATED, OUT_OF_ORDER, OVERRUN = "duplicated", "out of order", "overrun"
LOST = "lost"
"""An item is received but was not sent, or was received before; one arrives in the place of
another; more are in flight than there should be; one is dropped that has to arrive.
"""


@dataclass(frozen=True, slots=True)
class Counting:
    """No item is followed yet. `due` items have to arrive, `forgiven` ones may. Where `armed` is
    not 0, that item of the next step that sends some is the one to follow: the first, the second …
    """

    due: int = 0
    forgiven: int = 0
    armed: int = 0


@dataclass(frozen=True, slots=True)
class Following:
    """An item of `kind` is followed; `due` items have to arrive before it, `forgiven` ones may."""

    kind: int
    due: int
    forgiven: int


@dataclass(frozen=True, slots=True)
class ExchangeFault:
    why: str


DONE = "done"
"""The item has arrived, or is forgiven, or there was none to follow."""


def exchange_atoms(kinds: int) -> int:
    """Atoms: for each kind, an item is sent; for each kind, one is received; then `may_lose`, and
    whether a link drops one.
    """
    return 2 * kinds + 2


@cache
def exchange_automaton(
    kinds: int, under_way: int, *, strict: bool = False, at_once: int = 1
) -> Automaton:
    """The automaton for this many kinds of items, with at most `under_way` in flight at any time,
    of which one step sends `at_once` at the most.

    With `strict`, more than that violates the requirement; else it makes the automaton unsure.
    """
    exchange = _Exchange(kinds, under_way, at_once)
    return AutomatonSketch(
        start=Counting(),
        atoms=exchange_atoms(kinds),
        step=exchange.step,
        bad=lambda state: _why(state, strict=strict),
        alive=lambda state: isinstance(state, Following),
        # As long as it counts: whoever follows an item does so beside a run that counts on.
        triggered=lambda state, valuation: (
            isinstance(state, Counting) and bool(valuation & ((1 << kinds) - 1))
        ),
        choices=exchange.choices,
        unsure=lambda state: state == OVERRUN and not strict,
    ).build()


def _why(state: Hashable, *, strict: bool) -> str:
    """What went wrong when this state is entered, if anything did."""
    if isinstance(state, ExchangeFault):
        return state.why
    return OVERRUN if strict and state == OVERRUN else ""


class _Exchange:
    def __init__(self, kinds: int, under_way: int, at_once: int) -> None:
        self._kinds = kinds
        self._most = under_way
        self._at_once = at_once

    def choices(self, state: Hashable) -> Iterable[Hashable]:
        if isinstance(state, Counting) and not state.armed:
            yield from (replace(state, armed=1 + number) for number in range(self._at_once))

    def step(self, state: Hashable, valuation: int) -> Hashable:
        """One step: an arrival is processed before a sending, since what arrives was already in
        flight.
        """
        kinds = range(self._kinds)
        for kind in kinds:
            if valuation >> (self._kinds + kind) & 1:
                state = self._received(state, kind)
        sent = [kind for kind in kinds if valuation >> kind & 1]
        for kind in sent:
            state = self._sent(state, kind)
        if sent and isinstance(state, Counting) and state.armed:
            return DONE
        if valuation >> 2 * self._kinds & 1:
            return self._forgiven(state)
        return self._dropped(state) if valuation >> 2 * self._kinds + 1 & 1 else state

    def _sent(self, state: Hashable, kind: int) -> Hashable:
        if not isinstance(state, Counting):
            return state
        if state.armed == 1:
            return Following(kind, state.due, state.forgiven)
        if state.due >= self._most:
            return OVERRUN
        return replace(state, due=state.due + 1, armed=max(state.armed - 1, 0))

    def _received(self, state: Hashable, kind: int) -> Hashable:
        if isinstance(state, Counting | Following):
            # The kinds of earlier items are not remembered: any arrival counts as the next one due.
            # If it is a wrong one, the run that follows the item in that place rejects.
            if state.due:
                return replace(state, due=state.due - 1)
            if isinstance(state, Following) and kind == state.kind:
                return DONE
            if state.forgiven:
                return replace(state, forgiven=state.forgiven - 1)
            return ExchangeFault(OUT_OF_ORDER if isinstance(state, Following) else DUPLICATED)
        return state

    def _dropped(self, state: Hashable) -> Hashable:
        """If an item is forgiven, it may be that one; else it is one that had to arrive. The run
        that follows none sees all of them.
        """
        owed = isinstance(state, Counting) and not state.forgiven
        return ExchangeFault(LOST) if owed else state

    def _forgiven(self, state: Hashable) -> Hashable:
        if isinstance(state, Following):
            return DONE  # the item may be lost now, so nothing can be required of it any more
        if isinstance(state, Counting):
            return replace(state, due=0, forgiven=min(state.forgiven + state.due, self._most))
        return state
