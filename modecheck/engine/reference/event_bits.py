"""Which events of a product each thing counts as that can happen in a step, as bits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from modecheck.product.ir import EventIR, MessageIn

Key = TypeVar("Key")


@dataclass(frozen=True, slots=True)
class EventBits:
    """Bits by what happened; what counts as no event is left out."""

    sent: dict[MessageIn, int]
    accepted: dict[MessageIn, int]
    delivered: dict[MessageIn, int]
    late: dict[MessageIn, int]
    dropped: dict[MessageIn, int]
    signalled: dict[int, int]
    taken: dict[int, int]
    ticks: int


def event_bits(events: Sequence[EventIR]) -> EventBits:
    """Event number `n` has the bit `1 << n`."""
    return EventBits(
        sent=_bits(event.sent for event in events),
        accepted=_bits(event.accepted for event in events),
        delivered=_bits(event.delivered for event in events),
        late=_bits(event.late for event in events),
        dropped=_bits(event.dropped for event in events),
        signalled=_bits(event.signalled for event in events),
        taken=_bits(event.taken for event in events),
        ticks=sum(1 << number for number, event in enumerate(events) if event.ticks),
    )


def _bits(named: Iterable[frozenset[Key]]) -> dict[Key, int]:
    bits: dict[Key, int] = {}
    for number, keys in enumerate(named):
        for key in keys:
            bits[key] = bits.get(key, 0) | 1 << number
    return bits
