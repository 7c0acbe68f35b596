"""Random links: who sends what to whom, and what the link does when it is full."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.generation.expressions import Draw, Kind

MESSAGES = ("hello", "code", "keys", "turn")
"""An edge, an edge with a value, a whole picture, an amount."""


@dataclass(frozen=True)
class Payload:
    """How a message is declared: its kind, and the type of its value, if it has one."""

    kind: str
    type: Kind | None = None


@dataclass(frozen=True)
class Wire:
    """A link as chips see it; `narrow` is one of one place that makes its sender wait. One that
    `corrupts` also delivers `corrupted`, which nobody sends.
    """

    name: str
    sender: str
    receiver: str
    carries: Mapping[str, Payload]
    narrow: bool = False
    corrupts: bool = False

    @property
    def delivers(self) -> Mapping[str, Payload]:
        """What may arrive over it."""
        return {**self.carries, **({"corrupted": Payload("event")} if self.corrupts else {})}


def draw_kinds(draw: Draw) -> dict[str, Payload]:
    """What each message carries, wherever it travels."""
    number = Kind("number", draw.number(-1, 0), draw.number(1, 2))
    kinds = [Kind("truth"), number, Kind("word", 0, draw.number(0, 2))]
    low = draw.number(-1, 1)
    return {
        "hello": Payload("event"),
        "code": Payload("event", draw.one(kinds)),
        "keys": Payload("state", draw.one([*kinds, None])),
        "turn": Payload("relative", Kind("number", low, low + draw.number(0, 3))),
    }


def draw_wires(draw: Draw, chips: Sequence[str], kinds: Mapping[str, Payload]) -> list[Wire]:
    """Up to three links between different chips; often two narrow ones there and back, so that
    answers find no room.
    """
    if draw.chance(35):
        return draw_there_and_back(draw, chips, kinds)
    wires = []
    for name in ("up", "down", "side")[: draw.one((1, 2, 2, 3, 0))]:
        sender, receiver = draw.some(chips, 2, 2)
        if draw.chance(50):
            sender, receiver = receiver, sender
        messages = draw.some(MESSAGES, 1, 2)
        carries = {m: kinds[m] for m in messages}
        wires.append(Wire(name, sender, receiver, carries, corrupts=draw.chance(15)))
    return wires


def draw_there_and_back(
    draw: Draw, chips: Sequence[str], kinds: Mapping[str, Payload]
) -> list[Wire]:
    """Two narrow links between the same chips, or three chips in a ring of them."""
    ring = draw.some(chips, 2, 3 if draw.chance(25) else 2)
    names = ("up", "down", "side")[: len(ring)]
    return [
        Wire(name, one, other, {m: kinds[m] for m in draw.some(MESSAGES[:3], 1, 2)}, narrow=True)
        for name, one, other in zip(names, ring, [*ring[1:], ring[0]], strict=True)
    ]


def wire_as_yaml(draw: Draw, wire: Wire) -> dict[str, Any]:
    """The link's entry in the device file, without `up_when`."""
    link: dict[str, Any] = {"from": wire.sender, "to": wire.receiver}
    link["carries"] = {name: _message(payload) for name, payload in wire.carries.items()}
    if all(payload == Payload("event") for payload in wire.carries.values()):
        link["carries"] = list(wire.carries)
    if wire.narrow:
        return link | {"when_full": "wait"}
    capacity = draw.one((1, 1, 2, 2, 3))
    link |= {"capacity": capacity} if capacity > 1 else {}
    can = [fault for fault in ("lose", "duplicate") if draw.chance(12)]
    can += ["corrupt"] if wire.corrupts else []
    link |= {"can": can} if can else {}
    full = draw.one(("wait", "error", "drop_new", "drop_old"))
    edges = all(payload.kind == "event" for payload in wire.carries.values())
    if capacity > 1 and edges and full != "drop_old" and draw.chance(50):
        link["order"] = "any"
    return link | ({"when_full": full} if full != "error" else {})


def _message(payload: Payload) -> Any:
    if payload.type is None:
        return payload.kind
    return {"kind": payload.kind, **type_as_yaml(payload.type)}


def type_as_yaml(kind: Kind) -> dict[str, Any]:
    """The declaration of a type."""
    if kind.name == "truth":
        return {"bool": True}
    if kind.name == "number":
        return {"range": [kind.low, kind.high]}
    return {"one_of": list(kind.words)} if kind.name == "word" else {"bond": kind.high}
