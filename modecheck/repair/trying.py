"""Try a candidate: lay it over the device, and find out what becomes of the findings.

What is cheap comes first. A scenario that still shows its finding rules a candidate out without
exploring anything; on a large device the check that found it comes before all others. Whatever is
kept has been checked completely, from its text, as `modecheck check --with` does.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from modecheck.checks import requirement_checks, watched
from modecheck.checks.declared import Evidence
from modecheck.checks.differences import difference
from modecheck.checks.every_check import BY_CODE
from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, FALLS, HOLDS, UNDECIDED, VACUOUS
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Space
from modecheck.model.devices import read_device
from modecheck.model.errors import ModecheckError
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose
from modecheck.repair.changes import Candidate, Clash, yaml_text
from modecheck.repair.losses import losses
from modecheck.repair.replaying import still_shown, watched_need

SMALL = 3_000
"""States of a device whose check takes no longer than exploring it for one check alone."""
LARGER, AT_LEAST = 8, 3_000
"""A changed device is explored up to so many times the states of the device, and at least these."""


class TrialOutcome(Enum):
    """What came of a candidate."""

    INVALID = "no valid device"
    STAYS = "the finding stays"
    NEW = "something new is wrong"
    LOST = "something is lost"
    LARGE = "too large to decide"
    PARTLY = "some of the findings are gone"
    KEPT = "kept"


@dataclass(frozen=True, slots=True)
class Trial:
    """A candidate with its outcome: which of the wanted findings are `gone`, the ids of those that
    are `new`, what is `lost` in words, and what is `given_up`: part of what was wrong, and never
    reached any more. `states` are those of each variant, `seconds` the processor time of the trial.
    """

    candidate: Candidate
    outcome: TrialOutcome
    gone: frozenset[str] = frozenset()
    new: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    given_up: tuple[str, ...] = ()
    states: tuple[int, ...] = ()
    seconds: float = 0.0

    @property
    def promising(self) -> bool:
        """Whether a second change may complete it."""
        return bool(self.gone) and self.outcome is not TrialOutcome.KEPT


@dataclass(frozen=True, slots=True)
class TrialBench:
    """What candidates are tried on: a device in some variants with its verdict, and the findings
    that are to go. Files of candidates are written into `folder`.
    """

    file: str
    devices: tuple[Device, ...]
    verdict: Verdict
    wanted: tuple[Finding, ...]
    search: Search
    folder: str

    @property
    def states(self) -> int:
        """The states of the largest variant."""
        return max(one.exploration.state_count for one in self.verdict.explored)

    def try_out(self, candidate: Candidate) -> Trial:
        """What becomes of the findings."""
        began = time.process_time()
        trial = self._tried_out(candidate)
        return replace(trial, seconds=time.process_time() - began)

    def _tried_out(self, candidate: Candidate) -> Trial:
        try:
            devices = self.changed(candidate)
        except (ModecheckError, Clash):
            return Trial(candidate, TrialOutcome.INVALID)
        there = [one for one in self.wanted if not self._still_shown(one, devices)]
        large = self.states > SMALL
        if not there or (large and len(there) < len(self.wanted)):
            return Trial(candidate, TrialOutcome.STAYS)
        if large and not all(self._gone_at_first_sight(there, devices)):
            return Trial(candidate, TrialOutcome.STAYS)
        return self._judged(candidate, devices)

    def changed(self, candidate: Candidate) -> list[Device]:
        """The device in all variants with the candidate laid over it. Raises `InvalidInput`."""
        path = os.path.join(self.folder, f"candidate_{os.getpid()}.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(yaml_text(candidate.overlay))
        return [read_device(self.file, one.variant, over=path) for one in self.devices]

    def check(self, devices: Sequence[Device]) -> Verdict:
        """The verdict on a changed device."""
        return check(devices, search=self._bounded())

    def _bounded(self) -> Search:
        most = max(LARGER * self.states, AT_LEAST)
        limits = replace(self.search.limits, states=most)
        return replace(self.search, limits=limits, expected=self.states)

    def _variant_of(self, finding: Finding, devices: Sequence[Device]) -> Device:
        """The device in the variant of the finding's scenario."""
        wanted = finding.variants[0] if finding.variants else devices[0].choices
        return next(one for one in devices if one.choices == wanted)

    def _still_shown(self, finding: Finding, devices: Sequence[Device]) -> bool:
        before = self._variant_of(finding, self.devices)
        after = self._variant_of(finding, devices)
        return still_shown(finding, before, compose(after))

    def _gone_at_first_sight(
        self, findings: Iterable[Finding], devices: Sequence[Device]
    ) -> Iterator[bool]:
        """For each finding whether the check that found it finds it no more."""
        spaces: dict[str, Space] = {}
        how = self._bounded()
        for finding in findings:
            device = self._variant_of(finding, devices)
            need = watched_need(finding, device)
            if need is not None:
                yield not is_broken(need, device, how)
                continue
            if device.choices not in spaces:
                spaces[device.choices] = explore_with(compose(device), how)
            yield not is_found(spaces[device.choices], finding)

    def _judged(self, candidate: Candidate, devices: list[Device]) -> Trial:
        """Everything is checked."""
        after = self.check(devices)
        states = tuple(one.exploration.state_count for one in after.explored)
        found = difference(self.verdict, after)
        if not all(one.exploration.complete for one in after.explored):
            return Trial(candidate, TrialOutcome.LARGE, states=states)
        wanted = {one.id for one in self.wanted}
        gone = frozenset(wanted - found_in(after))
        new = tuple(dict.fromkeys(one.id for one in found.new))
        worse = [
            f"{one.name} is {one.after}"
            for one in found.requirements
            if one.after != HOLDS and (one.before == HOLDS or one.after in (VACUOUS, UNDECIDED))
        ]
        lost, given_up = tuple(worse), tuple[str, ...]()
        if gone and not new and not worse:
            lost, given_up = losses(self.verdict, after, candidate)
        outcome = _outcome(wanted, gone, new, lost)
        return Trial(candidate, outcome, gone, new, lost, given_up, states)


def found_in(verdict: Verdict) -> set[str]:
    """The ids of all findings of a device: also of those that were accepted, and of requirements
    that fall with others, which are not findings of their own but do not hold either.
    """
    found = [*verdict.findings, *(one.finding for one in verdict.accepted)]
    falling = (one for one in verdict.requirements if one.verdict == FALLS)
    return {one.id for one in found} | {f"broken-requirement:{one.need.name}" for one in falling}


def _outcome(
    wanted: set[str], gone: frozenset[str], new: Sequence[str], lost: Sequence[str]
) -> TrialOutcome:
    if not gone:
        return TrialOutcome.STAYS
    if new:
        return TrialOutcome.NEW
    if lost:
        return TrialOutcome.LOST
    return TrialOutcome.KEPT if gone == wanted else TrialOutcome.PARTLY


def is_broken(need: Requirement, device: Device, search: Search) -> bool:
    """Whether a requirement is broken that takes an observer; the device is explored with that
    alone. False if a bound left it undecided.
    """
    observed = compose(device, observers=(need.name,), time_acceleration=search.time_acceleration)
    space = explore_with(observed, search)
    return watched.judged_in(compose(device), space, need).verdict == BROKEN


def is_found(space: Space, finding: Finding) -> bool:
    """Whether one check finds this finding in an explored space; False if that check needs more."""
    need = space.product.device.requirements.get(finding.subject)
    if finding.code == "broken-requirement" and need is not None:
        judged = (one for one in requirement_checks.judge(space) if one.need is need)
        return any(one.verdict == BROKEN for one in judged)
    one = BY_CODE[finding.code]
    if one.find is None:
        return False
    return any(other.id == finding.id for other in one.find(Evidence(space)))
