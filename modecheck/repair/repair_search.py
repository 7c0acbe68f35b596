"""Look for repairs: single changes first, then pairs; what is promising first.

A pair is made of two changes of which at least one takes some of the findings away. Where such a
change brings something new that is wrong, the second change is also looked for in what is new.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import INTERRUPTION
from modecheck.repair.changes import Candidate, Clash, RepairChange
from modecheck.repair.families.all_families import FAMILIES
from modecheck.repair.replaying import cannot_help
from modecheck.repair.situation import RepairSituation
from modecheck.repair.trial_workers import TrialWorkers
from modecheck.repair.trying import Trial, TrialBench, TrialOutcome
from modecheck.repair.written import WrittenDevice

ENOUGH = 12
"""Repairs after which no more candidates are tried: people read the first few."""
SIZE_COUNTS = 0.1
"""How much a value that is written counts in the order in which candidates are tried."""


@dataclass(slots=True)
class TrialTally:
    """What was tried: how many candidates of each family (a pair counts for both) with each
    outcome, what they took in processor seconds, and whether some were left out.

    `ruled_out` single changes were not tried, because a scenario that does not use what they change
    shows its finding. For the same reason `partial` ones can only take some of the findings away,
    and are tried if no other is kept.
    """

    singles: int = 0
    pairs: int = 0
    outcomes: Counter[TrialOutcome] = field(default_factory=Counter)
    families: Counter[str] = field(default_factory=Counter)
    stopped_by: str = ""
    possible: int = 0
    ruled_out: int = 0
    partial: int = 0
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

    bench: TrialBench
    written: WrittenDevice
    workers: TrialWorkers[Candidate, Trial]
    tally: TrialTally = field(default_factory=TrialTally)
    trials: list[Trial] = field(default_factory=list)
    most_seconds: float | None = None
    _known: dict[str, int] = field(default_factory=dict)
    _live: int = 0
    _spent: float = 0.0

    @property
    def is_over(self) -> bool:
        """Whether the time for looking is up."""
        if self.tally.stopped_by:
            return True
        spent = self.most_seconds is not None and self._spent > self.most_seconds
        return spent or self.workers.time_is_up

    @property
    def kept(self) -> list[Trial]:
        return [one for one in self.trials if one.outcome is TrialOutcome.KEPT]

    def run(self) -> None:
        """Try single changes, then pairs, until there are enough repairs or time is up."""
        at = self.situation(self.bench.wanted)
        singles = changes_for(at)
        self.tally.possible = len(singles)
        helping = [self._helped_by(one, at) for one in singles]
        first = [one for one, n in zip(singles, helping, strict=True) if n == len(at.findings)]
        rest = [one for one, n in zip(singles, helping, strict=True) if 0 < n < len(at.findings)]
        self.tally.ruled_out = helping.count(0)
        self.tally.partial = len(rest)
        self._try((Candidate((one,)) for one in first), "trying single changes")
        if not self.kept:
            self._try((Candidate((one,)) for one in rest), "trying single changes")
        if not self.kept and not self.is_over:
            self._try(self._pairs([*first, *rest]), "trying pairs of changes")
        if self.workers.broken and not self.tally.stopped_by:
            self.tally.stopped_by = "the failure of a process"
        elif self.is_over and not self.tally.stopped_by and len(self.kept) < ENOUGH:
            self.tally.stopped_by = "the bound of seconds"

    def _helped_by(self, change: RepairChange, at: RepairSituation) -> int:
        """How many findings a change may take away, as far as their scenarios tell."""
        return sum(
            not cannot_help(change, one, at.device, at.shown.used.get(one.id, set()))
            for one in at.findings
        )

    def situation(self, findings: Iterable[Finding]) -> RepairSituation:
        return RepairSituation(self.bench.devices[0], self.written, list(findings))

    def _try(self, candidates: Iterable[Candidate], what: str) -> None:
        """Try candidates in their order. What counts does not depend on which is done first: those
        after the last repair that was needed are left out.
        """
        done: list[Trial] = []
        self._live = len(self.kept)
        try:
            for trial in self.workers.tried_out(self._fresh(candidates), what):
                done.append(trial)
                self._live += trial.outcome is TrialOutcome.KEPT
                self._spent += trial.seconds
        except KeyboardInterrupt:
            self.tally.stopped_by = INTERRUPTION
        for trial in sorted(done, key=lambda one: self._known[one.candidate.key]):
            if len(self.kept) >= ENOUGH:
                self.tally.enough = True
                break
            self.tally.add(trial)
            if trial.gone:
                self.trials.append(trial)

    def _fresh(self, candidates: Iterable[Candidate]) -> Iterator[Candidate]:
        """Each candidate once, as long as there are too few repairs."""
        for one in candidates:
            if self._live >= ENOUGH:
                self.tally.enough = True
                return
            if self.is_over:
                return
            try:
                key = one.key
            except Clash:
                continue
            if key not in self._known:
                self._known[key] = len(self._known)
                yield one

    def _pairs(self, singles: list[RepairChange]) -> Iterator[Candidate]:
        promising = sorted(
            (one for one in self.trials if one.promising),
            key=lambda one: (-len(one.gone), len(one.new) + len(one.lost), one.candidate.size),
        )
        partly = [one for one in promising if one.outcome is TrialOutcome.PARTLY]
        yield from _partners(partly)
        seconds = [iter(self._seconds(one, singles)) for one in promising]
        while seconds:
            for some in list(seconds):
                second = next(some, None)
                if second is None:
                    seconds.remove(some)
                else:
                    yield second

    def _seconds(self, trial: Trial, singles: list[RepairChange]) -> Iterator[Candidate]:
        """The trial's change with a second one, made from what is wrong with the first."""
        first = trial.candidate.changes[0]
        if trial.new:
            verdict = self.bench.check(self.bench.changed(trial.candidate))
            wrong = [one for one in verdict.findings if one.id in trial.new]
            for one in changes_for(self.situation(wrong)):
                yield Candidate((first, one))
        yield from (Candidate((first, one)) for one in singles)


def _partners(partly: list[Trial]) -> Iterator[Candidate]:
    """Two changes that each take a part of the findings away."""
    for number, one in enumerate(partly):
        for other in partly[number + 1 :]:
            if not one.gone >= other.gone and not other.gone >= one.gone:
                yield Candidate((*one.candidate.changes, *other.candidate.changes))


def changes_for(at: RepairSituation) -> list[RepairChange]:
    """All single changes, the most promising first; each writes something else."""
    found = [change for _, make in FAMILIES.values() for change in make(at)]
    order = list(FAMILIES)
    found.sort(key=lambda one: (_promise(one), order.index(one.family)))
    unique: dict[str, RepairChange] = {}
    for one in found:
        unique.setdefault(Candidate((one,)).key, one)
    return list(unique.values())


def _promise(change: RepairChange) -> float:
    return change.rank + SIZE_COUNTS * change.size + 0.5 * change.timers
