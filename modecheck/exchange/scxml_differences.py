"""Where a chip in SCXML is not quite the chip of the model, each with its place in the YAML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from modecheck.model.places import Place


@dataclass(frozen=True, slots=True)
class DifferenceKind:
    """What a comment in the file says, and what a report says of all places of the kind."""

    comment: str
    sentence: str


KINDS: Mapping[str, DifferenceKind] = {
    "free": DifferenceKind(
        "taken when its event is sent from outside",
        "Rules without a trigger. SCXML takes a transition without an event at once; in the model "
        "the moment is open, so each waits for an event that is sent from outside",
    ),
    "seen": DifferenceKind(
        "read of another chip; this event says from outside what it is",
        "What is read of other chips. SCXML cannot look into another session, so an event from "
        "outside says when it changes",
    ),
    "unanswered": DifferenceKind(
        "discarded here, an error in the model where no condition holds",
        "Messages without an answer, or with one only on a condition. They are an error in the "
        "model and discarded in SCXML",
    ),
    "deferred": DifferenceKind(
        "discarded here, deferred in the model",
        "Deferred messages. They wait in their link in the model; SCXML knows no deferral and "
        "discards them",
    ),
    "interval": DifferenceKind(
        "comes at the earliest moment here, and may come later in the model",
        "Times with an earliest and a latest moment. A delay in SCXML is the earliest",
    ),
    "missed": DifferenceKind(
        "where the condition does not hold when the time has come, not taken later",
        "Conditions on what waits for a time. Where one does not hold when the time has come, "
        "SCXML discards the event; in the model the rule may still be taken",
    ),
    "nested": DifferenceKind(
        "waits in a state and in one inside it: both delays run",
        "Times in a state and in one inside it. In SCXML both delays run, in the model the inner",
    ),
    "waiting": DifferenceKind(
        "not taken in the model while its link is full",
        "Sends over links that wait. The model does not take the rule while the link is full; "
        "SCXML sends at once",
    ),
    "judged": DifferenceKind(
        "In() is false of the state that was left, and true in the model",
        "Assignments that ask for the chip's own state. SCXML has left it by then",
    ),
    "kept": DifferenceKind(
        "kept over a power cut, which SCXML does not know",
        "Persistent variables, and rules between whose writes the power may fail. SCXML knows no "
        "power cut",
    ),
    "priority": DifferenceKind(
        "its priority is its place among the transitions",
        "Priorities of rules. In SCXML the place among the transitions says it",
    ),
    "activity": DifferenceKind(
        "an activity of a controller: charts know no turns",
        "Activities of controllers, and what they mask. Charts in SCXML take no turns",
    ),
    "idle": DifferenceKind(
        "a timer that no rule starts is not written",
        "Timers that no rule starts. They are not written",
    ),
    "renamed": DifferenceKind(
        "something else in a chart, so it is called otherwise",
        "Variables whose names mean something else in a chart: words of ECMAScript, states, and "
        "what begins with an underscore (sections 3.14 and 5.10). They are called otherwise",
    ),
}
"""By its name; the order is that of a report."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One place where the two differ; `subject` names what stands there."""

    kind: str
    subject: str
    place: Place

    @property
    def comment(self) -> str:
        return f"{self.subject}: {KINDS[self.kind].comment}"


def told_differences(differences: Iterable[Difference]) -> Iterator[str]:
    """A line for each kind, and one for each of its places."""
    found: dict[str, list[Difference]] = {}
    for one in dict.fromkeys(differences):
        found.setdefault(one.kind, []).append(one)
    for name, kind in KINDS.items():
        if name in found:
            yield f"{kind.sentence}:"
            yield from (f"  {one.place}: {one.subject}" for one in found[name])
