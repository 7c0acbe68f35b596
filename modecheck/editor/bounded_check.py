"""A check within bounds, in a process of its own that can be ended at any time.

The process reads a request from standard input and writes the outcome to standard output, both as
JSON: `python -m modecheck.editor.bounded_check`. An editor's server asks while somebody types, so
the check runs on one thread and yields to everything else.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from modecheck.editor.ending import end_with_parent

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.checks.findings import Finding
    from modecheck.checks.gaps import GapEntry, GapEvent, GapTable
    from modecheck.engine.contract.space import Space
    from modecheck.model.parts import Device
    from modecheck.model.places import Place

NICER = 5
"""How much lower than the editor the check is ranked by the operating system."""

MOST_COUNTED = 300_000
"""Transitions of which it is counted how often each rule is taken."""


@dataclass(frozen=True, slots=True)
class CheckedPlace:
    """A place, without its file's text."""

    path: str
    line: int
    column: int
    width: int


@dataclass(frozen=True, slots=True)
class StepFound:
    """A step of a scenario, in words."""

    number: str
    text: str
    place: CheckedPlace | None


@dataclass(frozen=True, slots=True)
class CheckedFinding:
    """A finding."""

    code: str
    id: str
    severity: str
    text: str
    details: tuple[str, ...]
    hint: str
    place: CheckedPlace
    also: tuple[CheckedPlace, ...]
    steps: tuple[StepFound, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on a requirement; `assumes` are the fairness assumptions that it rests on."""

    verdict: str
    remark: str
    assumes: tuple[str, ...]
    states: int
    seconds: float


@dataclass(frozen=True, slots=True)
class CheckOutcome:
    """What came of a check of the device in the file at `path`.

    `stopped_by` is empty if everything was explored. `depths` has the least depth at which each
    chip was seen in each leaf; `taken` says of each rule of a chip, by its title, in how many
    transitions it is taken, 0 if in none, -1 if that was not counted. `answers` has for each chip,
    event and leaf what the chip does with it, in a few words. `unreachable` and `never_taken` name
    the states and rules of each chip that were not seen, though everything was explored, and that
    no other choice of an option could reach.
    """

    path: str
    states: int = 0
    transitions: int = 0
    stopped_by: str = ""
    findings: tuple[CheckedFinding, ...] = ()
    requirements: dict[str, Judgement] = field(default_factory=dict)
    depths: dict[str, dict[str, int]] = field(default_factory=dict)
    taken: dict[str, dict[str, int]] = field(default_factory=dict)
    answers: dict[str, dict[str, dict[str, str]]] = field(default_factory=dict)
    unreachable: dict[str, list[str]] = field(default_factory=dict)
    never_taken: dict[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Request:
    """What to check, with the texts that are read in place of files, and the bounds."""

    path: str
    texts: Mapping[str, str]
    states: int
    seconds: float


def outcome_of(request: Request) -> CheckOutcome:
    """Check a device in its first variant. Raises `InvalidInput`."""
    from modecheck.checks.verdict import check
    from modecheck.engine.choice import Search
    from modecheck.engine.contract.space import Limits
    from modecheck.model.devices import read_device
    from modecheck.model.text_files import HeldTexts, instead_of_files

    with instead_of_files(HeldTexts(request.texts)):
        device = read_device(request.path)
    limits = Limits(states=request.states, seconds=request.seconds).from_now()
    verdict = check([device], search=Search(limits=limits, threads=1))
    return _outcome(request.path, device, verdict)


def _outcome(path: str, device: Device, verdict: Verdict) -> CheckOutcome:
    from modecheck.checks.gaps import gap_tables

    (one,) = verdict.explored
    space = one.exploration
    return CheckOutcome(
        path=path,
        states=space.state_count,
        transitions=space.transitions,
        stopped_by=space.stopped_by,
        findings=tuple(map(_found, verdict.findings)),
        requirements={
            judged.need.name: Judgement(
                judged.verdict,
                judged.remark,
                judged.rests_on,
                judged.cost.states if judged.cost else 0,
                round(judged.cost.seconds, 3) if judged.cost else 0.0,
            )
            for judged in verdict.requirements
        },
        depths=_depths(space),
        taken=_taken(device, space),
        answers={table.chip: _answers(table) for table in gap_tables(space)},
        **_unseen(device, verdict),
    )


def _unseen(device: Device, verdict: Verdict) -> dict[str, dict[str, list[str]]]:
    """What nothing reaches, in states and rules of each chip; nothing if that is not known."""
    from modecheck.checks.never_seen import seen_in

    if not verdict.explored[0].exploration.complete:
        return {}
    _, coverage, excused = seen_in(verdict.explored)
    leaves, rules = coverage.occupied | excused.leaves, coverage.taken | excused.rules
    return {
        "unreachable": {
            name: [
                state.name
                for state in chip.states.values()
                if not leaves & {(name, leaf) for leaf in state.leaves}
            ]
            for name, chip in device.chips.items()
        },
        "never_taken": {
            name: [rule.title for rule in chip.rules if (name, rule.title) not in rules]
            for name, chip in device.chips.items()
        },
    }


def _found(finding: Finding) -> CheckedFinding:
    from modecheck.scenario.telling import condensed

    steps = [
        StepFound(
            step.numbers,
            step.text + (f" ({', '.join(step.changes)})" if step.changes else ""),
            _place(step.place) if step.place else None,
        )
        for step in condensed(finding.scenario)
    ]
    return CheckedFinding(
        finding.code,
        finding.id,
        finding.severity,
        finding.text,
        finding.details,
        finding.hint,
        _place(finding.place),
        tuple(map(_place, finding.also)),
        tuple(steps),
    )


def _place(place: Place) -> CheckedPlace:
    return CheckedPlace(place.file, place.line, place.column, place.width)


def _depths(space: Space) -> dict[str, dict[str, int]]:
    """States are numbered by depth, so the first one with a leaf is one of the least depth."""
    depths: dict[str, dict[str, int]] = {}
    for form in space.product.chips:
        own = depths[form.name] = {}
        column = list(space.column(form.state_field, space.state_count))
        first: dict[int, int] = {}
        for number, leaf in enumerate(column):
            if leaf not in first:
                first[leaf] = number
                if len(first) == len(form.leaves):
                    break
        own.update((form.leaves[leaf], space.depth_of(n)) for leaf, n in first.items())
    return depths


def _taken(device: Device, space: Space) -> dict[str, dict[str, int]]:
    """In how many transitions each rule is taken, where those are few enough to be counted."""
    product = space.product
    counts = dict.fromkeys(range(len(product.rules)), 0)
    counted = space.transitions <= MOST_COUNTED
    if counted:
        for number in range(space.expanded):
            for edge in space.edges_from(number):
                rule = product.labels[edge.label].rule
                if rule >= 0:
                    counts[rule] += 1
    for rule in space.observed.taken:
        # A rule that another chip's signal triggers is taken in a step of that chip.
        if not counted or not counts[rule]:
            counts[rule] = -1
    taken: dict[str, dict[str, int]] = {chip: {} for chip in device.chips}
    for number, one in enumerate(product.rules):
        taken[one.chip][one.title] = counts[number]
    return taken


def _answers(table: GapTable) -> dict[str, dict[str, str]]:
    """The rows of a gap table, in words."""
    return {
        event.label: {leaf: _answer(table.cells[leaf, event], leaf, event) for leaf in table.leaves}
        for event in table.events
    }


def _answer(cell: GapEntry, leaf: str, event: GapEvent) -> str:
    parts = ["stays" if target == leaf else f"goes to {target}" for target in cell.targets]
    if cell.otherwise:
        parts.append({"discard": "discards it", "defer": "lets it wait"}[cell.otherwise])
    if cell.blocked:
        parts.append("may wait for room in a link")
    if cell.unanswered:
        parts.append("**has no answer**" if event.link else "does not react")
    if not cell.arrives:
        parts.append("never arrives" if not parts else "but it never arrives")
    return ", ".join(parts)


def as_json(outcome: CheckOutcome) -> str:
    """The outcome as one line of JSON, in ASCII."""
    return json.dumps(asdict(outcome))


def from_json(text: str | bytes) -> CheckOutcome:
    """What `as_json` has written."""
    data: dict[str, Any] = json.loads(text)
    found = tuple(_found_again(one) for one in data.pop("findings"))
    needs = {
        name: Judgement(**{**one, "assumes": tuple(one["assumes"])})
        for name, one in data.pop("requirements").items()
    }
    return CheckOutcome(findings=found, requirements=needs, **data)


def _found_again(data: dict[str, Any]) -> CheckedFinding:
    steps = tuple(
        StepFound(
            one["number"], one["text"], CheckedPlace(**one["place"]) if one["place"] else None
        )
        for one in data.pop("steps")
    )
    place = CheckedPlace(**data.pop("place"))
    also = tuple(CheckedPlace(**one) for one in data.pop("also"))
    details = tuple(data.pop("details"))
    return CheckedFinding(place=place, also=also, steps=steps, details=details, **data)


def main(parent: int) -> int:
    """Answer one request of a process; nothing but the outcome is written to standard output."""
    end_with_parent(parent)
    from modecheck.model.errors import ModecheckError

    with contextlib.suppress(OSError, AttributeError):
        os.nice(NICER)
    request = Request(**json.load(sys.stdin))
    try:
        outcome = outcome_of(request)
    except ModecheckError as wrong:
        outcome = CheckOutcome(request.path, stopped_by=" ".join(str(wrong).split()))
    sys.stdout.write(as_json(outcome))
    sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main(os.getppid()))
