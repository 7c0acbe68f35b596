"""What happens within one step, in order: the raw material of a scenario.

Named tuples, since some are made for every transition.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias


class Took(NamedTuple):
    """A chip took a rule and went from a leaf to a leaf (all numbers)."""

    chip: int
    rule: int
    before: int
    after: int
    heard: int
    """The signal that it heard, or -1."""
    value: int = 0
    """The value of that signal."""


class SignalEmitted(NamedTuple):
    """A chip gave a signal; `value` is 0 where it carries none."""

    chip: int
    signal: int
    value: int = 0


class Arrived(NamedTuple):
    """A message reached its chip; `outcome` is taken, discarded or unspecified."""

    queue: int
    message: int
    value: int
    late: bool
    outcome: str


class Accepted(NamedTuple):
    """A message was put into a queue; `merged` into one that already waited there."""

    queue: int
    message: int
    value: int
    merged: bool


class Dropped(NamedTuple):
    """A message is gone. `why` is lost, full, down or cut; what never came to its queue was not
    `queued`, and its value is not told.
    """

    queue: int
    message: int
    why: str
    queued: bool = True
    value: int = 0


class Doubled(NamedTuple):
    queue: int
    message: int
    value: int


class Corrupted(NamedTuple):
    """A message that waits cannot be used any more."""

    queue: int
    message: int
    value: int


class Struck(NamedTuple):
    """A chip lost power or was reset, and restarted in a leaf; `rule` is the rule that was cut in
    the middle, or -1.
    """

    chip: int
    kind: str
    rule: int
    done: int
    leaf: int


class Started(NamedTuple):
    """The device began in one of the states in which it may: the leaf of each chip."""

    leaves: tuple[int, ...]


class Passed(NamedTuple):
    """Time went on."""

    ticks: int


Happening: TypeAlias = (
    Took
    | SignalEmitted
    | Arrived
    | Accepted
    | Dropped
    | Doubled
    | Corrupted
    | Struck
    | Started
    | Passed
)
