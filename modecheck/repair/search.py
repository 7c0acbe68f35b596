"""Look for repairs: single changes first, then pairs; what is promising first.

A pair is made of two changes of which at least one takes some of the findings away. Where such a
change brings something new that is wrong, the second change is also looked for in what is new.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from modecheck.checks.findings import Finding
from modecheck.repair.changes import Candidate, Change, Clash, values_in
from modecheck.repair.families.all_families import FAMILIES
from modecheck.repair.replaying import cannot_help
from modecheck.repair.situation import Situation
from modecheck.repair.trying import Bench, Outcome, Trial
from modecheck.repair.workers import Workers
from modecheck.repair.written import Written

ENOUGH = 12
"""Repairs after which no more candidates are tried: people read the first few."""
SIZE_COUNTS = 0.1
"""How much a value that is written counts in the order in which candidates are tried."""


@dataclass(slots=True)
class Tally:
    """What was tried: how many candidates of each family (a pair counts for both) with each
    outcome, whether some were left out, and the processor seconds of all. `ruled_out` candidates
    were not tried, because a scenario that does not use what they change shows its finding.
    """

    singles: int = 0
    pairs: int = 0
    outcomes: Counter[Outcome] = field(default_factory=Counter)
    families: Counter[str] = field(default_factory=Counter)
    stopped_by: str = ""
    possible: int = 0
    ruled_out: int = 0
    seconds: float = 0.0
    enough: bool = False

    def add(self, trial: Trial) -> None:
        if len(trial.candidate.changes) > 1:
            self.pairs += 1
        else:
            self.singles += 1
        self.outcomes[trial.outcome] += 1
        self.seconds += trial.seconds
        self.families.update(one.family for one in trial.candidate.changes)


@dataclass(slots=True)
class RepairSearch:
    """A search for repairs of the wanted findings of a bench. `trials` holds what takes some of
    them away. No candidate is begun once all together took `most_seconds` of processor time.
    """

    bench: Bench
    written: Written
    workers: Workers[Candidate, Trial]
    tally: Tally = field(default_factory=Tally)
    trials: list[Trial] = field(default_factory=list)
    most_seconds: float | None = None
    _known: set[str] = field(default_factory=set)

    @property
    def is_over(self) -> bool:
        """Whether the time for looking is up."""
        spent = self.most_seconds is not None and self.tally.seconds > self.most_seconds
        return spent or self.workers.time_is_up

    @property
    def kept(self) -> list[Trial]:
        return [one for one in self.trials if one.outcome is Outcome.KEPT]

    def run(self) -> None:
        """Try single changes, then pairs, until there are enough repairs or time is up."""
        at = self.situation(self.bench.wanted)
        singles = changes_for(at)
        self.tally.possible = len(singles)
        helping = [self._helped_by(one, at) for one in singles]
        first = [one for one, n in zip(singles, helping, strict=True) if n == len(at.findings)]
        rest = [one for one, n in zip(singles, helping, strict=True) if 0 < n < len(at.findings)]
        self.tally.ruled_out = helping.count(0)
        self._try((Candidate((one,)) for one in first), "trying single changes")
        if not self.kept:
            self._try((Candidate((one,)) for one in rest), "trying single changes")
        if not self.kept and not self.is_over:
            self._try(self._pairs([*first, *rest]), "trying pairs of changes")
        if self.is_over and len(self.kept) < ENOUGH:
            self.tally.stopped_by = "the bound of seconds"

    def _helped_by(self, change: Change, at: Situation) -> int:
        """How many findings a change may take away, as far as their scenarios tell."""
        return sum(
            not cannot_help(change, one, at.device, at.used.get(one.id, set()))
            for one in at.findings
        )

    def situation(self, findings: Iterable[Finding]) -> Situation:
        return Situation(self.bench.devices[0], self.written, list(findings))

    def _try(self, candidates: Iterable[Candidate], what: str) -> None:
        for trial in self.workers.tried_out(self._fresh(candidates), what):
            self.tally.add(trial)
            if trial.gone:
                self.trials.append(trial)

    def _fresh(self, candidates: Iterable[Candidate]) -> Iterator[Candidate]:
        """Each candidate once, as long as there are too few repairs."""
        for one in candidates:
            if len(self.kept) >= ENOUGH:
                self.tally.enough = True
                return
            if self.is_over:
                return
            try:
                key = one.key
            except Clash:
                continue
            if key not in self._known:
                self._known.add(key)
                yield one

    def _pairs(self, singles: list[Change]) -> Iterator[Candidate]:
        promising = sorted(
            (one for one in self.trials if one.promising),
            key=lambda one: (-len(one.gone), len(one.new) + len(one.lost), one.candidate.size),
        )
        halves = [one.candidate.changes[0] for one in promising]
        partly = [one for one in promising if one.outcome is Outcome.PARTLY]
        yield from _partners(partly, halves)
        seconds = [iter(self._seconds(one, singles)) for one in promising]
        while seconds:
            for number, some in enumerate(list(seconds)):
                second = next(some, None)
                if second is None:
                    seconds.remove(some)
                else:
                    yield second
                del number

    def _seconds(self, trial: Trial, singles: list[Change]) -> Iterator[Candidate]:
        """The trial's change with a second one, made from what is wrong with the first."""
        first = trial.candidate.changes[0]
        if trial.new:
            verdict = self.bench.check(self.bench.changed(trial.candidate))
            wrong = [one for one in verdict.findings if one.id in trial.new]
            for one in changes_for(self.situation(wrong)):
                yield Candidate((first, one))
        for one in singles:
            yield Candidate((first, one))


def _partners(partly: list[Trial], halves: list[Change]) -> Iterator[Candidate]:
    """Two changes that each take a part of the findings away."""
    for number, one in enumerate(partly):
        for other in partly[number + 1 :]:
            if not one.gone >= other.gone and not other.gone >= one.gone:
                yield Candidate((*one.candidate.changes, *other.candidate.changes))
    del halves


def changes_for(at: Situation) -> list[Change]:
    """All single changes, the most promising first; each writes something else."""
    found = [change for _, make in FAMILIES.values() for change in make(at)]
    order = list(FAMILIES)
    found.sort(key=lambda one: (_promise(one), order.index(one.family)))
    unique: dict[str, Change] = {}
    for one in found:
        unique.setdefault(Candidate((one,)).key, one)
    return list(unique.values())


def _promise(change: Change) -> float:
    return change.rank + SIZE_COUNTS * values_in(change.overlay) + 0.5 * change.timers


def deadline_of(seconds: float | None) -> float | None:
    """The monotonic time at which so many seconds are over."""
    return None if seconds is None else time.monotonic() + seconds


