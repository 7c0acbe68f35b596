"""A product for questions about chances: its steps report the events that the questions name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from modecheck.model.terms import Happens
from modecheck.product.ir import Product
from modecheck.product.lowering import Addresses, lowered
from modecheck.product.observers import EventPlan


@dataclass(frozen=True, slots=True)
class AskedEvents:
    """`bits` has the bit of each event in what a step reports; the condition `until:NAME` of the
    product holds where the question NAME ends.
    """

    product: Product
    bits: Mapping[Happens, int]


def asked(product: Product, addresses: Addresses) -> AskedEvents:
    """The product, prepared for the questions of its device."""
    known = len(product.watched_events)
    plan = EventPlan(replace(product, events=product.events[:known]))
    conditions = dict(product.conditions)
    for chance in product.device.chances.values():
        plan.add_all(part for part in (chance.event, chance.answer) if part is not None)
        if chance.until is not None:
            until = lowered(chance.until, addresses, chance.place)
            conditions[f"until:{chance.name}"] = until
    names = [f"asked {number}" for number in range(known, len(plan.forms))]
    told = replace(
        product,
        events=tuple(plan.forms),
        watched_events=(*product.watched_events, *names),
        conditions=conditions,
    )
    return AskedEvents(told, {happens: 1 << number for happens, number in plan.numbers.items()})
