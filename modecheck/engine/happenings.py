"""What happens within one step, in order: the raw material of a scenario."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class Took:
    """A chip took a rule and went from a leaf to a leaf (all numbers)."""

    chip: int
    rule: int
    before: int
    after: int
    heard: int
    """The signal that it heard, or -1."""


@dataclass(frozen=True, slots=True)
class Raised:
    chip: int
    signal: int


@dataclass(frozen=True, slots=True)
class Arrived:
    """The head of a queue reached its chip; `outcome` is taken, ignored or unhandled."""

    queue: int
    message: int
    value: int
    late: bool
    outcome: str


@dataclass(frozen=True, slots=True)
class Accepted:
    """A message was put into a queue; `merged` into one that already waited there."""

    queue: int
    message: int
    value: int
    merged: bool


@dataclass(frozen=True, slots=True)
class Dropped:
    """A message is gone. `why` is lost, full, down or cut."""

    queue: int
    message: int
    why: str


@dataclass(frozen=True, slots=True)
class Doubled:
    queue: int
    message: int


@dataclass(frozen=True, slots=True)
class Struck:
    """A chip lost power or was reset; `rule` is the rule that was cut in the middle, or -1."""

    chip: int
    kind: str
    rule: int
    done: int


Happening: TypeAlias = Took | Raised | Arrived | Accepted | Dropped | Doubled | Struck
