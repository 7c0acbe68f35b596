"""The gap table: what each state of a chip does with each event, and which events really arrive.

A gap is an event that arrives in a state that does not handle it. For a message that is an
unspecified reception; a signal simply finds no chip that reacts, which may or may not be intended.
"""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.coverage import event_name
from modecheck.engine.contract.encounters import BLOCKED, UNHEARD, UNSPECIFIED
from modecheck.engine.contract.space import Space
from modecheck.product.ir import ChipIR, Otherwise, Product, Reaction


@dataclass(frozen=True, slots=True)
class GapEvent:
    """A column: a message of a link, or a signal (`link` is then empty)."""

    name: str
    link: str
    label: str


@dataclass(frozen=True, slots=True)
class GapEntry:
    """What a leaf does with an event. `targets` are the leaves that rules lead to, in the order in
    which the rules are tried; `otherwise`, for when none is enabled, is "discard", "defer" or "".

    `arrives` is true if the event occurs there, `unanswered` if it is then not handled, and
    `blocked` if a full link kept a rule from being taken: a message then waits, and a signal
    fails.
    """

    targets: tuple[str, ...]
    otherwise: str
    arrives: bool
    unanswered: bool
    blocked: bool


@dataclass(frozen=True, slots=True)
class GapTable:
    """One chip: its leaves, the events that can reach it, and a cell for each pair."""

    chip: str
    leaves: tuple[str, ...]
    events: tuple[GapEvent, ...]
    cells: dict[tuple[str, GapEvent], GapEntry]

    def gaps(self) -> list[tuple[str, GapEvent]]:
        """The pairs of leaf and event that occur and are not handled."""
        return [pair for pair, cell in self.cells.items() if cell.unanswered]


def gap_tables(space: Space) -> list[GapTable]:
    """A table for each chip that any event can reach; actors have none."""
    product = space.product
    outcomes = _outcomes(space)
    tables = []
    for form in product.chips:
        events = _events(product, form)
        if events and not form.actor:
            tables.append(_table(product, form, events, outcomes))
    return tables


Outcomes = dict[tuple[str, str, str, str], set[int]]
"""Outcomes of encounters by chip, leaf, link and name of the event."""


def _outcomes(space: Space) -> Outcomes:
    product = space.product
    outcomes: Outcomes = {}
    for met in space.observed.encounters:
        form = product.chips[met.chip]
        link, name = event_name(product, met.queue, met.event)
        outcomes.setdefault((form.name, form.leaves[met.leaf], link, name), set()).add(met.outcome)
    return outcomes


def _events(product: Product, form: ChipIR) -> tuple[GapEvent, ...]:
    messages = [
        (message.name, product.queues[queue].name)
        for queue in form.inputs
        for message in product.queues[queue].messages
    ]
    names = [name for name, _ in messages]
    heard = sorted({signal for hearing in form.hearings for signal in hearing})
    signals = [product.signals[signal] for signal in heard]
    events = []
    for name, link in messages:
        alone = names.count(name) == 1 and name not in signals
        events.append(GapEvent(name, link, name if alone else f"{name} via {link}"))
    events += [GapEvent(name, "", name) for name in signals]
    return tuple(events)


def _table(
    product: Product, form: ChipIR, events: tuple[GapEvent, ...], outcomes: Outcomes
) -> GapTable:
    cells = {}
    for leaf, name in enumerate(form.leaves):
        for event in events:
            met = outcomes.get((form.name, name, event.link, event.name), set())
            reactions, otherwise = _answer(product, form, leaf, event)
            cells[name, event] = GapEntry(
                targets=_targets(form, leaf, reactions),
                otherwise=otherwise,
                arrives=bool(met),
                unanswered=bool(met & {UNSPECIFIED, UNHEARD}) and otherwise == "",
                blocked=BLOCKED in met,
            )
    return GapTable(form.name, form.leaves, events, cells)


def _answer(
    product: Product, form: ChipIR, leaf: int, event: GapEvent
) -> tuple[tuple[Reaction, ...], str]:
    if not event.link:
        return form.hearings[leaf].get(product.signals.index(event.name), ()), ""
    queue = [one.name for one in product.queues].index(event.link)
    code = [one.name for one in product.queues[queue].messages].index(event.name) + 1
    reception = form.receptions[leaf][queue, code]
    certain = any(reaction.own_guard is None for reaction in reception.reactions)
    if certain or reception.otherwise is Otherwise.UNSPECIFIED:
        return reception.reactions, ""
    return reception.reactions, reception.otherwise.value


def _targets(form: ChipIR, leaf: int, reactions: tuple[Reaction, ...]) -> tuple[str, ...]:
    numbers = (reaction.enters if reaction.enters >= 0 else leaf for reaction in reactions)
    return tuple(dict.fromkeys(form.leaves[number] for number in numbers))
