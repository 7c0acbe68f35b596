"""What became of an item that did not arrive once and in order, according to the scenario."""

from __future__ import annotations

from modecheck.engine.reference.happenings import Arrived, Corrupted, Dropped, Happening, Struck
from modecheck.model.parts import ExactlyOnce, Requirement
from modecheck.product.exchange_automata import DUPLICATED, OVERRUN
from modecheck.product.ir import Product
from modecheck.scenario.traces import Trace

LOSSES = {
    "lost": "the link loses it",
    "full": "the link is full",
    "down": "the link is down",
    "cut": "power is cut",
}


def what_went_wrong(product: Product, need: Requirement, trace: Trace, reason: str) -> str:
    """What went wrong with an item. `reason` is that of the bad state, or empty where the item
    never arrives.
    """
    exchange = need.exchange
    assert exchange is not None
    happenings = [one for taken in trace.steps for one in taken.step.happenings]
    if reason == DUPLICATED:
        return _second_arrival(product, exchange, happenings)
    if reason == OVERRUN:
        return f"more than {exchange.under_way} are in flight"
    names = _tracked(exchange)
    lost = [
        one
        for one in happenings
        if isinstance(one, Dropped | Corrupted)
        and _name(product, one) in names
        and _concerns(product, exchange, one.queue)
    ]
    if lost:
        last = lost[-1]
        link = product.queues[last.queue].name
        why = LOSSES[last.why] if isinstance(last, Dropped) else "the link corrupts it"
        return f"{_name(product, last)} over {link} is lost ({why})"
    if reason:
        return _out_of_order(product, happenings)
    return _never_arrives(product, exchange, happenings)


def _tracked(exchange: ExactlyOnce) -> set[str]:
    return {message for _, message in (*exchange.sent, *exchange.received)}


def _concerns(product: Product, exchange: ExactlyOnce, queue: int) -> bool:
    """Whether what happens in a link may keep an item from arriving: what others miss of a
    broadcast does not.
    """
    link = product.device.links[product.queues[queue].name]
    return not link.broadcast or link.receiver in {chip for chip, _ in exchange.received}


def _name(product: Product, one: Dropped | Arrived | Corrupted) -> str:
    return product.queues[one.queue].messages[one.message - 1].name


def _receptions(
    product: Product, exchange: ExactlyOnce, happenings: list[Happening]
) -> list[Arrived]:
    """Arrivals at the far end."""
    return [
        one
        for one in happenings
        if isinstance(one, Arrived)
        and (product.chips[product.queues[one.queue].receiver].name, _name(product, one))
        in exchange.received
    ]


def _second_arrival(product: Product, exchange: ExactlyOnce, happenings: list[Happening]) -> str:
    last = _receptions(product, exchange, happenings)[-1]
    chip = product.chips[product.queues[last.queue].receiver].name
    if last.late or any(isinstance(one, Struck) for one in happenings):
        return f"{chip} receives {_name(product, last)} again: a copy from before a restart"
    return f"{chip} receives {_name(product, last)} more often than it was sent"


def _out_of_order(product: Product, happenings: list[Happening]) -> str:
    arrivals = [one for one in happenings if isinstance(one, Arrived)]
    name = _name(product, arrivals[-1]) if arrivals else "it"
    return f"{name} arrives before what was sent earlier"


def _never_arrives(product: Product, exchange: ExactlyOnce, happenings: list[Happening]) -> str:
    received = _receptions(product, exchange, happenings)
    kinds = [item[1] for item in exchange.received]
    if received and len(kinds) > 1:
        last = _name(product, received[-1])
        if kinds.index(last) + 1 < len(kinds):
            return f"{last} arrives, but {kinds[kinds.index(last) + 1]} never does"
    return f"{' or '.join(dict.fromkeys(message for _, message in exchange.sent))} never arrives"
