"""A finding: something wrong with a device, where, how it comes about, and what may help."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.traces import Trace
from modecheck.model.places import Place

ERROR, WARNING = "error", "warning"
"""Levels of SARIF 2.1.0 (OASIS): an error happens to users, a warning is a fault of the model."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of finding: its level, what it means, and what usually helps."""

    severity: str
    meaning: str
    hint: str


KINDS: dict[str, Kind] = {
    "deadlock": Kind(
        ERROR,
        "no chip and no link can go on, and the device does not rest",
        "give a waiting chip a way out: a timer, an answer to what can arrive, or make it rest",
    ),
    "stuck-chip": Kind(
        ERROR,
        "from here on the chip never moves again, whatever people and surroundings do",
        "give the state a way out, or mark it as a rest state if staying is meant",
    ),
    "livelock": Kind(
        ERROR,
        "chips can go round for ever without rest, and nothing comes of it",
        "give up after some attempts, or let the end that is in the wrong learn of it",
    ),
    "time-stop": Kind(
        ERROR,
        "time cannot go on: a rule has to be taken now, and cannot",
        "give the full link room, or let the rule look whether there is any",
    ),
    "zeno": Kind(
        ERROR,
        "chips can go round for ever before time can go on",
        "let something in the loop take time: a timer, or a link with a delay",
    ),
    "unspecified-reception": Kind(
        ERROR,
        "a message arrives and the state has no answer",
        "add a rule, or list the message under 'discards' or 'defers' of the state",
    ),
    "blocked-reaction": Kind(
        ERROR,
        "a signal sets off a rule whose link is full, and a signal cannot wait",
        "raise 'capacity', choose another 'when_full', or add a rule for when there is no room: it "
        "may note the signal in a variable and send later",
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
        "a bond is gone although nobody forgot it on purpose",
        "make the bond persistent, or name the event that forgets it under 'forgotten_by'",
    ),
    "one-sided-bond": Kind(
        ERROR,
        "the device rests while the two ends of a pairing hold different keys",
        "let the end that still holds the old key learn of it, and drop or renew it",
    ),
    "unrecoverable-pairing": Kind(
        ERROR,
        "no road leads back to a working pairing unless somebody forgets it on purpose",
        "add a way to pair again that starts from this state",
    ),
    "usurped-session": Kind(
        ERROR,
        "a session begins with a peer that is not the selected one",
        "let the chip accept, or answer, the selected peer alone",
    ),
    "two-modes": Kind(
        ERROR,
        "the device is in two modes at once",
        "make the conditions exclude each other, or leave one mode before entering the other",
    ),
    "unending-switch": Kind(
        ERROR,
        "a switch that has begun cannot reach any mode any more",
        "give the switch a timer that falls back to a mode",
    ),
    "endless-switch": Kind(
        ERROR,
        "a switch that has begun can go on for ever, however fairly chips and links take turns",
        "count the attempts, and fall back to a mode when they are used up",
    ),
    "broken-requirement": Kind(
        ERROR, "a requirement does not hold", "follow the scenario to the rule that breaks it"
    ),
    "vacuous-requirement": Kind(
        WARNING,
        "a requirement holds only because what it speaks of never happens",
        "check the condition that it begins with, or the rules that should make it true",
    ),
    "unreachable-state": Kind(
        WARNING, "no scenario leads to the state", "check the rules that should lead there"
    ),
    "dead-rule": Kind(
        WARNING, "the rule is never taken", "remove it, or mend what keeps it from being taken"
    ),
    "mode-never-reached": Kind(
        WARNING, "the device is never in this mode", "check the mode's condition"
    ),
    "no-mode-switch": Kind(
        WARNING, "no road leads from one mode to the other", "add the switch, or accept its absence"
    ),
    "unused": Kind(WARNING, "something is declared and never used", "remove it, or use it"),
    "needless-acceptance": Kind(
        WARNING, "an accepted finding does not occur any more", "remove the acceptance"
    ),
}
"""Every code, in the order in which findings are reported."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One cause of one kind. `details` are sentences; `also` further places with the same cause.

    `trace` is a shortest scenario, where there is one. `variants` tells in which choices of options
    it occurs, when several were explored.
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
        """Stable as long as the names in it are: what an acceptance refers to."""
        return f"{self.code}:{self.subject}"

    @property
    def severity(self) -> str:
        return KINDS[self.code].severity

    @property
    def hint(self) -> str:
        return KINDS[self.code].hint

    @property
    def steps(self) -> int | None:
        """The length of its scenario, once round the loop included."""
        return len(self.trace.moves) if self.trace is not None else None

    @property
    def fewest(self) -> int | None:
        """The steps of its scenario that are the fewest possible: up to its loop, if it has one."""
        looped = self.trace is not None and self.trace.loop_from
        return looped - 1 if looped else self.steps


def in_order(findings: list[Finding]) -> list[Finding]:
    """By code in the order of `KINDS`, then by length of the scenario, then by id."""
    order = list(KINDS)
    return sorted(findings, key=lambda f: (order.index(f.code), f.steps or 0, f.id))
