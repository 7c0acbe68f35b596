"""A step: what is known of it when it is done, and what is gathered while it goes on."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from modecheck.model.parts import Rule
from tests.second_reading.worlds import Forbidden, World

Failure = tuple[str, str]
"""Code and subject of a finding."""


@dataclass(frozen=True)
class Outcome:
    """A step: its label, the world after it or what fails, who took a rule, which events were
    raised or delivered, whether a chip, a link or time does it by itself (not an actor, not a
    fault), which rules were taken whole, or failed on the way; whether time waits for it; and which
    messages it put on which links; and the message that it delivers.
    """

    label: str
    after: World | None
    failures: frozenset[Failure]
    moved: frozenset[str]
    events: frozenset[str]
    unprompted: bool
    taken: frozenset[tuple[str, str]] = frozenset()
    first: bool = False
    sent: frozenset[tuple[str, str]] = frozenset()
    delivered: str = ""

    @property
    def identity(self) -> Hashable:
        """Equal for steps that cannot be told apart."""
        after = None if self.after is None else self.after.key
        return (self.label, after, self.failures, self.moved, self.events, self.taken)


@dataclass(frozen=True)
class Cut:
    """Power that fails in the n-th separate rule of a step, after so many of its assignments; and
    the way in which the chip begins again.
    """

    group: int
    chip: str
    which: int
    done: int
    way: int


@dataclass
class Deed:
    """A step that is going on."""

    now: World
    cut: Cut | None = None
    sent: list[tuple[str, str, int]] = field(default_factory=list)
    signalled: list[tuple[str, str, int]] = field(default_factory=list)
    moved: set[str] = field(default_factory=set)
    taken: set[tuple[str, str]] = field(default_factory=set)
    events: set[str] = field(default_factory=set)
    separate: list[Rule] = field(default_factory=list)
    struck: str = ""
    wrong: set[Failure] = field(default_factory=set)

    @contextmanager
    def going_on(self) -> Iterator[None]:
        """What fails in here does not keep from happening what happens at the same time."""
        try:
            yield
        except Forbidden as wrong:
            self.wrong.add((wrong.code, wrong.subject))
