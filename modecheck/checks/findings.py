"""A finding: something wrong with a device, where it is, how it comes about, what may help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.model.places import Place
from modecheck.scenario.telling import ToldStep
from modecheck.scenario.traces import Trace

ERROR, WARNING = "error", "warning"
"""Levels of SARIF 2.1.0 (OASIS): an error reaches users, a warning is a flaw in the model."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of finding: its level, what it means, and what usually helps."""

    severity: str
    meaning: str
    hint: str


KINDS: dict[str, Kind] = {
    "deadlock": Kind(
        ERROR,
        "no chip or link can take a step, and the device is not at rest",
        "give a waiting chip a timer, or a rule for what can arrive, or mark its state as rest",
    ),
    "stuck-chip": Kind(
        ERROR,
        "the chip can never move again, whatever people and surroundings do",
        "give the state a way out, or mark it as a rest state if staying there is intended",
    ),
    "livelock": Kind(
        ERROR,
        "chips can loop forever without coming to rest or making progress",
        "limit the number of attempts, or notify the chip whose view is out of date",
    ),
    "time-stop": Kind(
        ERROR,
        "time cannot advance: a rule must be taken now but cannot be",
        "raise the 'capacity' of the full link, or choose another 'when_full'",
    ),
    "zeno": Kind(
        ERROR,
        "chips can take infinitely many steps in zero time",
        "make something in the loop take time: a timer, or a link with a delay",
    ),
    "unspecified-reception": Kind(
        ERROR,
        "a message arrives in a state that does not handle it",
        "add a rule, or list the message under the state's 'discards' or 'defers'",
    ),
    "blocked-reaction": Kind(
        ERROR,
        "a signal triggers a rule whose link is full, and a signal cannot wait",
        "raise 'capacity', choose another 'when_full', or add a rule for a full link that stores "
        "the signal in a variable and sends later",
    ),
    "overflow": Kind(
        ERROR,
        "a message is sent into a full link",
        "raise 'capacity', wait for an answer before sending, or choose 'when_full'",
    ),
    "out-of-range": Kind(
        ERROR,
        "a value leaves the range of its variable",
        "guard the rule, or widen the range",
    ),
    "lost-bond": Kind(
        ERROR,
        "a bond is lost without being deliberately forgotten",
        "make the bond persistent, or list the event that forgets it under 'forgotten_by'",
    ),
    "one-sided-bond": Kind(
        ERROR,
        "the device rests while the two ends of a pairing hold different keys",
        "let the end that still holds the old key find out, and drop or renew the key",
    ),
    "unrecoverable-pairing": Kind(
        ERROR,
        "no path leads back to a working pairing unless it is deliberately forgotten",
        "add a way to pair again from this state",
    ),
    "usurped-session": Kind(
        ERROR,
        "a session begins with a peer that is not the selected one",
        "let the chip accept and answer only the selected peer",
    ),
    "two-modes": Kind(
        ERROR,
        "the device is in two modes at once",
        "make the conditions exclude each other, or leave one mode before entering the other",
    ),
    "unending-switch": Kind(
        ERROR,
        "a switch that has begun can no longer reach any mode",
        "give the switch a timer that falls back to a mode",
    ),
    "endless-switch": Kind(
        ERROR,
        "a switch that has begun can go on forever, however fairly chips and links take turns",
        "count the attempts, and fall back to a mode when they are used up",
    ),
    "broken-requirement": Kind(
        ERROR, "a requirement does not hold", "follow the scenario to the rule that breaks it"
    ),
    "vacuous-requirement": Kind(
        WARNING,
        "a requirement holds only because the situation it describes never occurs",
        "check the condition that it starts with, or the rules that should make it true",
    ),
    "unreachable-state": Kind(
        WARNING, "the state cannot be reached", "check the rules that should lead there"
    ),
    "dead-rule": Kind(
        WARNING, "the rule is never taken", "remove it, or fix what keeps it from being taken"
    ),
    "mode-never-reached": Kind(
        WARNING, "the device is never in this mode", "check the mode's condition"
    ),
    "no-mode-switch": Kind(
        WARNING, "no path leads from one mode to the other", "add the switch, or accept its absence"
    ),
    "unused": Kind(WARNING, "something is declared but never used", "remove it, or use it"),
    "needless-acceptance": Kind(
        WARNING, "an accepted finding no longer occurs", "remove the acceptance"
    ),
}
"""Every code, in the order in which findings are reported."""


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
