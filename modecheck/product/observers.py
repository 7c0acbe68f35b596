"""Observers for requirements: automata that run in parallel with a product and never restrict it.

Conditions describe the observer of the requirement NAME: `bad:NAME:WHY` (it has reached a bad
state), `alive:NAME` (a run that stays alive forever violates the requirement; with `again:NAME`,
only if it visits that infinitely often), `unsure:NAME` (it has lost count). `idles` holds where
nothing more happens.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from modecheck.model.event_calls import links_of
from modecheck.model.parts import Device, ExactlyOnce, Requirement
from modecheck.model.terms import Happens, parts_of
from modecheck.product.automata import Automaton
from modecheck.product.evaluation import Evaluator
from modecheck.product.exchange_automata import exchange_automaton
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Happened, Read
from modecheck.product.ir import (
    EventIR,
    Field,
    Label,
    MessageIn,
    ObserverAutomaton,
    Product,
    Queue,
    Ticking,
    TimeIR,
)
from modecheck.product.lowering import FALSE, Addresses, folded, lowered
from modecheck.product.patterns import IN_TIME, automaton_of

IDLE = "nothing has to happen any more"
ROOM_BEYOND_LINKS = 2
"""Items that chips hold themselves, besides what their links hold, unless the model says how many
may be in flight."""
MOST_UNDER_WAY = 12


@dataclass(frozen=True, slots=True)
class Watched:
    """A requirement and its automaton, with the atoms that it judges, except the one for time."""

    need: Requirement
    automaton: Automaton
    atoms: tuple[Expression, ...]
    most: int | None = None
    """Ticks within which an answer must come; an atom of the automaton says that it is later."""


def watch(product: Product, addresses: Addresses, names: Iterable[str]) -> Product:
    """The product with an observer for each of these requirements. Fields, labels and events are
    appended to those that it has; the conditions are only those of the observers.
    """
    needs = [product.device.requirements[name] for name in names]
    plan = EventPlan(product)
    for need in needs:
        plan.add_all(part for term in need.terms for part in parts_of(term))
    known = replace(addresses, events=plan.numbers)
    watched = [_watched(product.device, need, known, plan) for need in needs]
    return with_observers(product, watched, plan.forms)


def events_asked(product: Product, needs: Iterable[Requirement]) -> tuple[EventIR, ...]:
    """The events that observers of these requirements need, beyond those of the product."""
    plan = EventPlan(product)
    for need in needs:
        plan.add_all(part for term in need.terms for part in parts_of(term))
        if need.exchange is not None:
            _events_of(product.device, need.exchange, plan)
    return tuple(plan.forms[len(product.events) :])


def _events_of(
    device: Device, exchange: ExactlyOnce, plan: EventPlan
) -> tuple[list[int], list[int], list[int]]:
    """The numbers of what is sent, of what is received, and of what is dropped for good."""
    return (
        [plan.number(Happens("sent", *item)) for item in exchange.sent],
        [plan.number(Happens("delivered", *item)) for item in exchange.received],
        [plan.number(Happens("dropped", *item)) for item in sorted(_dropping(device, exchange))],
    )


def _dropping(device: Device, exchange: ExactlyOnce) -> Iterator[tuple[str, str]]:
    """Links with a message that is an item, and that nothing can bring once it is dropped: the link
    comes from the sender, is the only one that brings it to the receiver, and makes no copies.
    """
    copying = {n for group in device.faults if group.kind == "duplicate" for n in group.targets}
    for (sender, sent), (receiver, received) in zip(exchange.sent, exchange.received, strict=True):
        into = (link for link in device.links.values() if link.receiver == receiver)
        bringing = [link for link in into if sent in link.carries]
        if sent != received or len(bringing) != 1:
            continue
        link = bringing[0]
        if link.sender == sender and not link.duplicates and link.name not in copying:
            yield link.name, sent


def with_observers(
    product: Product, watched: Sequence[Watched], events: Sequence[EventIR]
) -> Product:
    """The product with these observers; `events` are all that it has then."""
    fields, labels = list(product.fields), list(product.labels)
    conditions: dict[str, Expression] = {}
    observers, time, evaluator = [], product.time, Evaluator(product)
    starts = [list(state) for state in product.first_states]
    for one in watched:
        field = len(fields)
        looked_up = [_first_of(one, evaluator, state) for state in starts]
        begins = [one.automaton.table[place] for place in looked_up]
        observer = _observer(one, field, frozenset(looked_up), labels)
        name, last = f"requirement {one.need.name}", one.automaton.states - 1
        fields.append(Field(name, 0, last, begins[0]))
        conditions |= _conditions(one.need.name, one.automaton, field)
        if one.most is not None and time is not None:
            observer, time = _with_a_count(observer, time, one, fields)
        observers.append(observer)
        for state, begun in zip(starts, begins, strict=True):
            state += (begun, *(0 for _ in fields[field + 1 :]))
    # Automata judge infinite runs. A run that may end is continued by idling forever, so that
    # requirements need no second definition for runs that end.
    labels.append(Label(IDLE, "idle"))
    fields.append(Field(IDLE, 0, 1, 0))
    conditions["idles"] = Read(len(fields) - 1)
    return replace(
        product,
        fields=tuple(fields),
        labels=tuple(labels),
        conditions=conditions,
        events=tuple(events),
        observers=tuple(observers),
        idle_label=len(labels) - 1,
        idle_field=len(fields) - 1,
        time=time,
        starts=tuple((*state, 0) for state in starts) if product.starts else (),
    )


def _with_a_count(
    observer: ObserverAutomaton, time: TimeIR, one: Watched, fields: list[Field]
) -> tuple[ObserverAutomaton, TimeIR]:
    """The observer with a field that counts how long it waits, and an atom that says too long."""
    assert one.most is not None
    count, too_long = len(fields), one.most + 1
    fields.append(Field(f"requirement {one.need.name} waits", 0, too_long, 0))
    counting = (
        ApplyIR("==", (Read(observer.field), ConstantIR(state)))
        for state in sorted(one.automaton.counting)
    )
    ticking = Ticking(count, folded("or", tuple(counting)), too_long, too_long, (too_long,))
    late = ApplyIR("==", (Read(count), ConstantIR(too_long)))
    counted = replace(
        observer,
        atoms=(*observer.atoms, late),
        count=count,
        counting=one.automaton.counting,
    )
    return counted, replace(time, tickings=(*time.tickings, ticking))


def _first_of(one: Watched, evaluator: Evaluator, initial: Sequence[int]) -> int:
    """Where an observer looks in its table to judge an initial state."""
    first = one.automaton.start << one.automaton.atoms
    for bit, atom in enumerate(one.atoms):
        first |= evaluator.holds(atom, initial) << bit
    return first


def _observer(
    one: Watched, field: int, firsts: frozenset[int], labels: list[Label]
) -> ObserverAutomaton:
    automaton = one.automaton
    choices = []
    for source, target in automaton.choices:
        choices.append((source, target, len(labels)))
        labels.append(Label(f"{one.need.name} follows the next item", "follow"))
    table = automaton.table
    return ObserverAutomaton(one.need.name, field, one.atoms, table, tuple(choices), firsts)


def _conditions(name: str, automaton: Automaton, field: int) -> dict[str, Expression]:
    def among(states: Iterable[int]) -> Expression:
        tests = (ApplyIR("==", (Read(field), ConstantIR(state))) for state in sorted(states))
        return folded("or", tuple(tests))

    reasons = dict.fromkeys(automaton.bad.values())
    found = {
        f"bad:{name}:{reason}": among(s for s, why in automaton.bad.items() if why == reason)
        for reason in reasons
    }
    if automaton.alive:
        found[f"alive:{name}"] = among(automaton.alive)
    if automaton.again != automaton.alive:
        found[f"again:{name}"] = among(automaton.again)
    if automaton.unsure:
        found[f"unsure:{name}"] = among(automaton.unsure)
    return found


def _watched(device: Device, need: Requirement, addresses: Addresses, plan: EventPlan) -> Watched:
    if need.exchange is not None:
        return _exchange(device, need, need.exchange, addresses, plan)
    terms = (need.condition, need.response, need.span.opens, need.span.closes)
    atoms = tuple(lowered(term, addresses, need.place) for term in terms if term is not None)
    most = None
    if need.within is not None and device.clock is not None:
        most = device.clock.ticks(need.within.low)
    return Watched(need, automaton_for(device, need), atoms, most)


def _exchange(
    device: Device,
    need: Requirement,
    exchange: ExactlyOnce,
    addresses: Addresses,
    plan: EventPlan,
) -> Watched:
    sent, received, dropped = _events_of(device, exchange, plan)
    losing: Expression = FALSE
    if exchange.may_lose is not None:
        losing = lowered(exchange.may_lose, addresses, need.place)
    missing = folded("or", tuple(map(Happened, dropped))) if dropped else FALSE
    atoms = (*map(Happened, (*sent, *received)), losing, missing)
    return Watched(need, automaton_for(device, need), atoms)


def automaton_for(device: Device, need: Requirement) -> Automaton:
    """The automaton that judges a requirement."""
    exchange = need.exchange
    if exchange is None:
        pattern = need.pattern if need.within is None else IN_TIME
        return automaton_of(pattern, need.span.kind)
    strict = exchange.under_way is not None
    most = exchange.under_way or room_for(device, exchange)
    together = sent_at_once(device, exchange)
    return exchange_automaton(len(exchange.sent), most, strict=strict, at_once=together)


def sent_at_once(device: Device, exchange: ExactlyOnce) -> int:
    """The most kinds of items that one step may send: those of a rule, and of all rules that can
    hear its signals in the same step, and theirs.
    """
    rules = [rule for chip in device.chips.values() for rule in chip.rules]
    most = 1
    for rule in rules:
        heard: set[str] = set()
        taken, kinds = [rule], set()
        while taken:
            one = taken.pop()
            kinds |= {(one.chip, send.message) for send in one.sends} & {*exchange.sent}
            fresh = {*one.signals} - heard
            heard |= fresh
            taken += [two for two in rules if any(event.name in fresh for event in two.trigger)]
        most = max(most, len(kinds))
    return most


def room_for(device: Device, exchange: ExactlyOnce) -> int:
    """How many items fit in the links that carry them, and a few more for the chips."""
    names = {message for _, message in (*exchange.sent, *exchange.received)}
    held = sum(link.capacity for link in device.links.values() if names & set(link.carries))
    return min(held + ROOM_BEYOND_LINKS, MOST_UNDER_WAY)


class EventPlan:
    """Numbers the events that are needed, after those that the product already has."""

    def __init__(self, product: Product) -> None:
        self.forms: list[EventIR] = list(product.events)
        self.numbers: dict[Happens, int] = {}
        self._product = product

    def add_all(self, parts: Iterable[object]) -> None:
        for part in parts:
            if isinstance(part, Happens):
                self.number(part)

    def number(self, happens: Happens) -> int:
        """The number of an event; the same event has one number, however it is named."""
        if happens not in self.numbers:
            form = self._form(happens)
            if form not in self.forms[len(self._product.events) :]:
                self.forms.append(form)
            self.numbers[happens] = self.forms.index(form, len(self._product.events))
        return self.numbers[happens]

    def _form(self, happens: Happens) -> EventIR:
        product = self._product
        if happens.kind == "signalled":
            return EventIR(signalled=frozenset({product.signals.index(happens.name)}))
        if happens.kind == "taken":
            rules = (
                number
                for number, rule in enumerate(product.rules)
                if rule.chip == happens.owner and happens.name in (rule.title, rule.whole)
            )
            return EventIR(taken=frozenset(rules))
        links = {link.name for link in links_of(happens.kind, happens.owner, product.device.links)}
        messages = frozenset(_messages(product.queues, links, happens.name))
        return _form_of_messages(happens.kind, messages)


def _form_of_messages(kind: str, messages: frozenset[MessageIn]) -> EventIR:
    none: frozenset[MessageIn] = frozenset()
    return EventIR(
        sent=messages if kind == "sent" else none,
        accepted=messages if kind == "accepted" else none,
        delivered=messages if kind == "delivered" else none,
        dropped=messages if kind == "dropped" else none,
    )


def _messages(queues: Sequence[Queue], links: set[str], name: str) -> Iterable[MessageIn]:
    for number, queue in enumerate(queues):
        for code, message in enumerate(queue.messages, start=1):
            if queue.name in links and message.name == name:
                yield number, code
