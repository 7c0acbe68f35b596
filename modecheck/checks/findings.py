"""A finding: something wrong with a device, where it is, how it comes about, what may help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.model.finding_kinds import KINDS
from modecheck.model.places import Place
from modecheck.scenario.telling import ToldStep
from modecheck.scenario.traces import Trace


@dataclass(frozen=True, slots=True)
class Finding:
    """One cause of one kind. `details` are sentences; `also` lists further places with that cause.

    `trace` is a shortest scenario, where there is one. `variants` lists the choices of options in
    which it occurs, when several were explored.
    """

    code: str
    subject: str
    text: str
    place: Place
    trace: Trace | None = None
    details: tuple[str, ...] = ()
    also: tuple[Place, ...] = ()
    variants: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """What an acceptance refers to; it changes only when a name in it does."""
        return f"{self.code}:{self.subject}"

    @property
    def severity(self) -> str:
        return KINDS[self.code].severity

    @property
    def hint(self) -> str:
        return KINDS[self.code].hint

    @property
    def scenario(self) -> Sequence[ToldStep]:
        """The steps of its scenario in words; none if it has no scenario."""
        return self.trace.told if self.trace is not None else ()

    @property
    def stays(self) -> bool:
        """Whether its scenario ends in a state in which no further step has to happen."""
        return self.trace is not None and self.trace.stays

    @property
    def steps(self) -> int | None:
        """The length of its scenario, including one pass through its loop."""
        return len(self.trace.moves) if self.trace is not None else None

    @property
    def fewest(self) -> int | None:
        """The part of its scenario of which none is shorter: up to its loop, if it has one."""
        looped = self.trace is not None and self.trace.loop_from
        return looped - 1 if looped else self.steps


def in_order(findings: list[Finding]) -> list[Finding]:
    """By code in the order of `KINDS`, then by length of the scenario, then by id."""
    order = list(KINDS)
    return sorted(findings, key=lambda f: (order.index(f.code), f.steps or 0, f.id))
