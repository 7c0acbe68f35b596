"""A chip as it will be written: names and expressions as text, before anything is looked up.

Readers of other formats make one; `chip_yaml` writes it, and the reader of models then judges it as
if a person had written it. Empty texts and tuples are keys that are left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from modecheck.model.values import ValueType


@dataclass(frozen=True, slots=True)
class DraftedEffects:
    """What a rule does: assignments, sends such as `hello via up`, signals, timers, a state."""

    do: tuple[str, ...] = ()
    send: tuple[str, ...] = ()
    signal: tuple[str, ...] = ()
    start: tuple[str, ...] = ()
    stop: tuple[str, ...] = ()
    to: str = ""

    def __bool__(self) -> bool:
        return any((self.do, self.send, self.signal, self.start, self.stop, self.to))


NO_EFFECTS = DraftedEffects()


@dataclass(frozen=True, slots=True)
class DraftedBranch:
    """A branch of a rule with `choose`; without a condition it is the `else`."""

    condition: str
    effects: DraftedEffects = NO_EFFECTS
    name: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class DraftedRule:
    """A rule, with `branches` or effects of its own. `waits` is one of after, period and expires,
    with what it waits for: `("after", "20 ms")`. Without a name it is an item of a list.
    """

    name: str = ""
    sources: tuple[str, ...] = ()
    on: tuple[str, ...] = ()
    waits: tuple[str, str] | None = None
    condition: str = ""
    effects: DraftedEffects = NO_EFFECTS
    branches: tuple[DraftedBranch, ...] = ()
    priority: int = 0
    separate: bool = False
    text: str = ""
    fair: str = ""
    concerns: tuple[str, ...] = ()
    weight: str = ""
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DraftedState:
    """A state with those inside it; `rest` is None where it is as in the state around it."""

    name: str
    states: tuple[DraftedState, ...] = ()
    initial: str = ""
    rest: bool | None = None
    about: str = ""
    concerns: tuple[str, ...] = ()
    masks: tuple[str, ...] = ()
    current: str = ""
    discards: tuple[str, ...] = ()
    defers: tuple[str, ...] = ()
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DraftedVariable:
    """A variable, or with a `length` a list; `start` has one value, or one for each item."""

    name: str
    type: ValueType
    start: tuple[int, ...]
    length: int = 0
    persistent: bool = False
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DraftedChip:
    """A chip, or an actor; `timers` maps names to durations, `comments` stand at the top."""

    name: str
    states: tuple[DraftedState, ...]
    rules: tuple[DraftedRule, ...] = ()
    variables: tuple[DraftedVariable, ...] = ()
    timers: Mapping[str, str] = field(default_factory=dict)
    initial: str = ""
    actor: bool = False
    about: str = ""
    discards: tuple[str, ...] = ()
    defers: tuple[str, ...] = ()
    fair: str = ""
    concerns: tuple[str, ...] = ()
    battery: str = ""
    runs_on: str = ""
    priority: int = 0
    comments: tuple[str, ...] = ()
