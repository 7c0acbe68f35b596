"""Observers in both engines: the same states, and what they saw is what happened."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Dropped,
    SignalEmitted,
    Took,
)
from modecheck.engine.reference.plain import Interpreter, Step
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Expression, Happened, Read
from modecheck.product.ir import EventIR, FairSet, Field, Label, ObserverAutomaton, Product
from tests.engine.native.test_agreement import assert_same_space
from tests.generation.devices import Drawn, devices

MOST_STATES = 400
EXAMPLES = settings().max_examples * 3 // 5
KINDS = ("sent", "accepted", "delivered", "late", "dropped")
ALL_KINDS = (*KINDS, "signalled", "taken")


pytestmark = pytest.mark.usefixtures("own_cache")


def some_event(product: Product, dice: random.Random) -> EventIR:
    """An event of any kind that this product can have; of two kinds now and then."""
    messages = [
        (number, code)
        for number, queue in enumerate(product.queues)
        for code in range(1, len(queue.messages) + 1)
    ]
    parts: dict[str, frozenset[object]] = {}
    for kind in dice.sample([*KINDS, "signalled", "taken"], dice.choice((1, 1, 2))):
        pool: list[object] = list(messages)
        if kind == "signalled":
            pool = list(range(len(product.signals)))
        elif kind == "taken":
            pool = list(range(len(product.rules)))
        parts[kind] = frozenset(dice.sample(pool, min(len(pool), dice.randint(1, 2))))
    return EventIR(**parts)  # type: ignore[arg-type]


def some_atom(product: Product, events: int, dice: random.Random) -> Expression:
    if dice.random() < 0.7:
        return Happened(dice.randrange(events))
    number = dice.randrange(len(product.fields))
    field = product.fields[number]
    test = ApplyIR("==", (Read(number), ConstantIR(dice.randint(field.low, field.high))))
    return ApplyIR("or", (test, Happened(dice.randrange(events))))


def watched(product: Product, seed: int) -> Product:
    """The product with random observers, and some steps without fairness."""
    dice = random.Random(seed)  # noqa: S311 - not for secrets
    events = (*product.events, *(some_event(product, dice) for _ in range(4)))
    starts = list(product.starts)
    fields, labels, observers = list(product.fields), list(product.labels), []
    for number in range(dice.randint(1, 2)):
        states, atoms = dice.randint(2, 3), dice.randint(1, 2)
        table = tuple(dice.randrange(states) for _ in range(states << atoms))
        start = dice.randrange(states)
        choices: tuple[tuple[int, int, int], ...] = ()
        if dice.random() < 0.5:
            labels.append(Label(f"observer {number} chooses", "follow"))
            choices = ((0, 1, len(labels) - 1),)
        fields.append(Field(f"observer {number}", 0, states - 1, start))
        starts = [(*state, (start + n) % states) for n, state in enumerate(starts)]
        observer = ObserverAutomaton(
            name=f"W{number}",
            field=len(fields) - 1,
            atoms=tuple(some_atom(product, len(events), dice) for _ in range(atoms)),
            table=table,
            choices=choices,
            firsts=frozenset({0}),
        )
        observers.append(observer)
    labels.append(Label("nothing more happens", "idle"))
    fields.append(Field("nothing more happens", 0, 1, 0))
    obliging = frozenset(n for n in range(len(product.labels)) if dice.random() < 0.5)
    return replace(
        product,
        fields=tuple(fields),
        labels=tuple(labels),
        events=events,
        observers=tuple(observers),
        fair=(FairSet("some", strong=False, labels=obliging),),
        idle_label=len(labels) - 1,
        idle_field=len(fields) - 1,
        starts=tuple((*state, 0) for state in starts),
    )


@given(devices(starts=True), st.integers(0, 1 << 16))
@settings(max_examples=EXAMPLES)
def test_engines_agree_on_watched_products(drawn: Drawn, seed: int) -> None:
    """States, transitions, layers and everything seen are the same with observers beside."""
    product = watched(compose(drawn.read()), seed)
    one = explore(product, max_states=MOST_STATES)
    assume(one.complete)
    two = explore_with(product, Search(engine="compiled", threads=1, limits=Limits()))
    assert_same_space(one, two)
    assert one.observed.watched == two.observed.watched


@given(devices(starts=True), st.integers(0, 1 << 16))
@settings(max_examples=EXAMPLES)
def test_observer_goes_on_by_what_a_step_tells(drawn: Drawn, seed: int) -> None:
    """An observer goes on by its table, judged on the state reached and the step's own account."""
    product = watched(compose(drawn.read()), seed)
    space = explore(product, max_states=MOST_STATES)
    interpreter = Interpreter(product)
    for number in range(space.expanded):
        state = space.state(number)
        for step in interpreter.steps(state):
            if step.after is None or product.labels[step.label].kind == "follow":
                continue
            idles = product.labels[step.label].kind == "idle"
            assert step.after[product.idle_field] == idles
            told = account(step)
            for observer in product.observers:
                index = state[observer.field] << len(observer.atoms)
                for bit, atom in enumerate(observer.atoms):
                    index |= judged(product, atom, step.after, told) << bit
                assert step.after[observer.field] == observer.table[index]


@given(devices(starts=True), st.integers(0, 1 << 16))
@settings(max_examples=EXAMPLES)
def test_device_idles_where_nothing_has_to_happen(drawn: Drawn, seed: int) -> None:
    """There is an idle step exactly where no step is possible that has to happen in the end, or
    that a link takes by nature; and then there is nothing else.
    """
    product = watched(compose(drawn.read()), seed)
    endless = {one.label for one in product.faults if one.kind == "lose" and one.budget < 0}
    obliging = product.fair[0].labels | endless
    space = explore(product, max_states=MOST_STATES)
    for number in range(space.expanded):
        state = space.state(number)
        labels = {step.label for step in space.found.interpreter.steps(state)}
        if state[product.idle_field]:
            assert labels == {product.idle_label}
        else:
            assert (product.idle_label in labels) == (not labels & obliging)


def account(step: Step) -> set[tuple[str, object]]:
    """What happened, as pairs of a kind and a thing."""
    told: set[tuple[str, object]] = {("sent", (send.queue, send.message)) for send, _ in step.sent}
    for one in step.happenings:
        if isinstance(one, Accepted):
            told.add(("accepted", (one.queue, one.message)))
        elif isinstance(one, Dropped | Corrupted):  # what is corrupted is lost at that moment
            told.add(("dropped", (one.queue, one.message)))
        elif isinstance(one, Arrived):
            told.add(("delivered", (one.queue, one.message)))
            told |= {("late", (one.queue, one.message))} if one.late else set()
        elif isinstance(one, SignalEmitted):
            told.add(("signalled", one.signal))
        elif isinstance(one, Took):
            told.add(("taken", one.rule))
    return told


def judged(
    product: Product, atom: Expression, after: tuple[int, ...], told: set[tuple[str, object]]
) -> bool:
    """An atom as `some_atom` makes it, read without the interpreter."""
    if isinstance(atom, Happened):
        event = product.events[atom.event]
        return any((kind, thing) in told for kind in ALL_KINDS for thing in getattr(event, kind))
    assert isinstance(atom, ApplyIR)
    if atom.operator == "or":
        return any(judged(product, part, after, told) for part in atom.arguments)
    field, value = atom.arguments
    assert isinstance(field, Read)
    assert isinstance(value, ConstantIR)
    return after[field.field] == value.value
