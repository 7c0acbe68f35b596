"""What a team writes to test its implementation of a chip: an adapter; and the events it receives.

Values are plain: a number, True or False, a name from the model as a string, None for no key.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from modecheck.model.values import ValueType

Value: TypeAlias = bool | int | str | None


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message reaches the chip. `late` is given if the model of the chip checks it."""

    message: str
    link: str
    value: Value = None
    late: bool = False


@dataclass(frozen=True, slots=True)
class Signal:
    """Another chip or an actor gives a signal that some rule of the chip waits for."""

    name: str
    value: Value = None


@dataclass(frozen=True, slots=True)
class TimerExpired:
    """The timer that a rule waits for expires, be it its own or one of the chip's that rules start:
    `rule` is the rule's name, `after` the timer's time in words.
    """

    rule: str
    state: str
    after: str


@dataclass(frozen=True, slots=True)
class InternalStep:
    """The chip takes a rule by itself. The model decides when, and which if there is a choice."""

    rule: str
    state: str


@dataclass(frozen=True, slots=True)
class Restart:
    """The chip loses power (`power_cut`) or is reset (`reset`): persistent variables stay."""

    kind: str


@dataclass(frozen=True, slots=True)
class Sight:
    """What the chip's rules can read of other chips has changed; no reaction is expected.

    `name` is a state (`hub.state`), a variable (`hub.retries`, `hub.slots[1]`), or, for a
    link whose sender waits while it is full, the messages in it (`air.waiting`, a tuple).
    """

    name: str
    value: Value | tuple[str, ...]


Event: TypeAlias = Delivery | Signal | TimerExpired | InternalStep | Restart | Sight


@dataclass(frozen=True, slots=True)
class Sent:
    """The implementation sends a message. `link` may be left out if only one link carries it
    from this chip.
    """

    message: str
    value: Value = None
    link: str | None = None


@dataclass(frozen=True, slots=True)
class Signalled:
    """The implementation gives a signal."""

    signal: str
    value: Value = None


Output: TypeAlias = Sent | Signalled
Standing: TypeAlias = str | tuple[str | None, Mapping[str, object]] | None
"""A state's name; or that (None: unknown) and some variables; None where nothing is known."""


class Adapter(Protocol):
    """An implementation of one chip, as the tests drive it. It must be deterministic."""

    def reset(self) -> None:
        """Return to the factory state: persistent variables have their start values, too."""

    def give(self, event: Event) -> None:
        """An event happens; the implementation must have finished reacting when this returns."""

    def outputs(self) -> Iterable[Output]:
        """What was sent and signalled since the last call, in order."""


class StatefulAdapter(Adapter, Protocol):
    """An adapter that can see inside. Without `state`, only outputs are compared."""

    def state(self) -> Standing:
        """The innermost state or one around it, and variables; what is left out is not compared."""


def plain_value(type_: ValueType | None, number: int) -> Value:
    """A value of the model as an adapter knows it; None for what carries none."""
    if type_ is None:
        return None
    if type_.kind == "truth":
        return bool(number)
    if type_.kind == "word":
        return type_.spell(number)
    return None if type_.kind == "bond" and not number else number
