"""The concerns of a device, and what a change did to each.

A concern is untouched if no part with this concern has changed, no finding about it is new or
fixed, and its visible behaviour is proven unchanged. A concern is never called untouched if an
exploration was stopped, or if no look covers it. Durations are not compared where behaviour does
not count time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from modecheck.checks.differences import VerdictDifference
from modecheck.checks.explored import Verdict
from modecheck.compare.behaviour import Behaviour, Outcome
from modecheck.compare.described import DURATIONS, parts_of_device
from modecheck.compare.part_concerns import concerns_of, concerns_of_link, in_order, own_concerns
from modecheck.compare.refinement import Equivalence
from modecheck.compare.text_changes import ADDED, CHANGED, MOVED, REMOVED, Change, TextChanges
from modecheck.model.parts import Device
from modecheck.review.finding_tags import FindingTags, said_by


class Standing(Enum):
    """What is known of a concern."""

    TOUCHED = "touched"
    UNKNOWN = "unknown"
    UNDECIDED = "changed in the text, behaviour not decided"
    SAME_BEHAVIOUR = "changed in the text, behaves the same"
    FIXED = "findings fixed, behaves the same"
    UNTOUCHED = "untouched"


@dataclass(frozen=True, slots=True)
class Concern:
    """A concern: the changes of parts that have it (`durations` are those that no behaviour
    compares), the behaviours that cover it, and the ids of findings about it.
    """

    concern: str
    standing: Standing
    changes: tuple[Change, ...]
    behaviours: tuple[Behaviour, ...]
    durations: tuple[Change, ...] = ()
    new: tuple[str, ...] = ()
    fixed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TaggedFindings:
    """New and fixed findings, by id, each with the concerns that it is about."""

    new: dict[str, frozenset[str]]
    fixed: dict[str, frozenset[str]]

    @property
    def untagged(self) -> tuple[str, ...]:
        """The new findings that belong to no concern."""
        return tuple(one for one, concerns in self.new.items() if not concerns)


def tagged_findings(
    old: Verdict, renamed: Verdict, new: Verdict, findings: VerdictDifference
) -> TaggedFindings:
    """The concerns of new and fixed findings; `renamed` is the old verdict in the names of the
    new device.
    """
    before, after = FindingTags(old.device), FindingTags(new.device)
    pairs = [
        *zip(old.findings, renamed.findings, strict=True),
        *(
            (one.finding, called.finding)
            for one, called in zip(old.accepted, renamed.accepted, strict=True)
        ),
    ]
    mended = set(findings.fixed)
    return TaggedFindings(
        {finding.id: after.of(finding) for finding in findings.new},
        {called.id: before.of(finding) for finding, called in pairs if called.id in mended},
    )


class Concerns:
    """The concerns of two devices whose text, findings and behaviour have been compared."""

    def __init__(
        self,
        old: Device,
        new: Device,
        text: TextChanges,
        behaviours: Sequence[Behaviour],
        findings: TaggedFindings,
        equivalence: Equivalence,
    ) -> None:
        self._devices = (old, new)
        self._parts = tuple(map(parts_of_device, self._devices))
        self._behaviours = behaviours
        self._findings = findings
        clocks = all(device.clock is not None for device in self._devices)
        self._ticks_count = clocks and equivalence is Equivalence.STRONG
        self._changes = [
            (change, self._concerns_of(change))
            for change in text.of_kind(ADDED, REMOVED, CHANGED, MOVED)
            if not change.wording_only
        ]

    def _concerns_of(self, change: Change) -> frozenset[str]:
        """The concerns of a part before and after."""
        found: frozenset[str] = frozenset()
        sides = zip(self._devices, self._parts, (change.old, change.new), strict=True)
        for device, parts, name in sides:
            if name is not None:
                found |= concerns_of(device, name, said_by(parts, name))
                whole = change.what in (ADDED, REMOVED)
                inside = [one for one in parts if whole and one.around == name]
                found = found.union(*(concerns_of(device, o, said_by(parts, o)) for o in inside))
        return found

    def all(self) -> Iterator[Concern]:
        known = {concern for device in self._devices for concern in _concerns_in(device)}
        known |= {concern for _, concerns in self._changes for concern in concerns}
        found = (*self._findings.new.values(), *self._findings.fixed.values())
        known |= {concern for concerns in found for concern in concerns}
        return map(self._concern, in_order(known))

    @property
    def durations(self) -> tuple[Change, ...]:
        """The changes that no behaviour compares, since they only affect durations."""
        return tuple(change for change, _ in self._changes if self._is_unjudged(change))

    def _concern(self, concern: str) -> Concern:
        changes = tuple(change for change, concerns in self._changes if concern in concerns)
        speaking = tuple(one for one in self._behaviours if concern in one.look.concerns)
        durations = tuple(filter(self._is_unjudged, changes))
        new, fixed = (
            tuple(one for one, concerns in found.items() if concern in concerns)
            for found in (self._findings.new, self._findings.fixed)
        )
        known = Concern(concern, Standing.TOUCHED, changes, speaking, durations, new, fixed)
        return replace(known, standing=_standing(known))

    def _is_unjudged(self, change: Change) -> bool:
        """Whether it changes a duration, or adds or removes a part that has one."""
        if self._ticks_count:
            return False
        if change.what not in (ADDED, REMOVED):
            return any(key in DURATIONS for key, _, _ in change.facets)
        parts = self._parts[change.what == ADDED]
        return any(
            facet.words
            for name, part in parts.items()
            if change.name in (name, name.around)
            for key, facet in part.facets.items()
            if key in DURATIONS
        )


def _standing(concern: Concern) -> Standing:
    outcomes = {one.outcome for one in concern.behaviours}
    unspoken = concern.changes and not concern.behaviours
    if Outcome.DIFFERENT in outcomes or concern.new or unspoken:
        return Standing.TOUCHED
    if Outcome.UNKNOWN in outcomes or not concern.behaviours:
        return Standing.UNKNOWN
    if concern.durations:
        return Standing.UNDECIDED
    if concern.changes:
        return Standing.SAME_BEHAVIOUR
    return Standing.FIXED if concern.fixed else Standing.UNTOUCHED


def _concerns_in(device: Device) -> Iterator[str]:
    for link in device.links.values():
        yield from concerns_of_link(link)
    for chip in device.chips.values():
        yield from chip.concerns
        for state in chip.states.values():
            yield from state.concerns
        for rule in chip.rules:
            yield from own_concerns(chip, rule)
