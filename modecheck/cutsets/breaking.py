"""Minimal cut sets: the smallest sets of faults with which something can go wrong (IEC 61025).

A set of faults is a multiset: a power cut may be needed twice. It breaks a requirement, or brings a
finding, if that can happen when these faults strike, each at the worst moment, and no other; it is
minimal if no smaller one does. Every slice of one exploration is asked what `modecheck check` asks
of a device, smaller sets first.

Some things faults cannot break, since they only add runs: that something is possible, that a switch
exists, that a state is ever seen. These are asked of the runs without a fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from modecheck.checks import requirement_checks, watched
from modecheck.checks.declared import Evidence
from modecheck.checks.every_check import BY_CODE
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, UNDECIDED, Judged
from modecheck.cutsets.counted_faults import CountedFaults, Counts, includes
from modecheck.cutsets.slice_failures import failures_in
from modecheck.cutsets.slices import Slice, Slices
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import Limits
from modecheck.model.parts import Requirement
from modecheck.product.ir import Product
from modecheck.product.state_conditions import is_watched

ASKED = (
    "deadlock",
    "stuck-chip",
    "time-stop",
    "zeno",
    "livelock",
    "unspecified-reception",
    "blocked-reaction",
    "overflow",
    "out-of-range",
    "lost-bond",
    "one-sided-bond",
    "unrecoverable-pairing",
    "usurped-session",
)
"""The kinds of findings that more faults can bring about."""
UNEXPLORED = "not all of it was explored"


@dataclass(frozen=True, slots=True)
class CutSet:
    """A minimal set of faults, with the finding that it brings about and its shortest scenario.
    `allowed` is whether the budgets that the device declares cover it.
    """

    counts: Counts
    finding: Finding
    allowed: bool

    @property
    def order(self) -> int:
        """How many faults it has."""
        return sum(self.counts)


@dataclass(slots=True)
class Breakable:
    """A requirement, or a finding that is no requirement's, and its minimal cut sets, smaller ones
    first. `remark` says why no more is known; it is empty where all sets up to the bounds are.
    """

    id: str
    text: str
    need: Requirement | None = None
    sets: list[CutSet] = field(default_factory=list)
    remark: str = ""

    @property
    def least(self) -> int | None:
        """How many faults its smallest cut sets have; None where it has none."""
        return min((one.order for one in self.sets), default=None)


class CutSetSearch:
    """Gathers the minimal cut sets of everything that can break, slice by slice."""

    def __init__(self, counted: CountedFaults, product: Product, limits: Limits) -> None:
        """`product` is the one without observers. Once the seconds of the limits have passed, no
        further slice is looked at.
        """
        self._counted, self._product, self._limits = counted, product, limits
        needs = counted.device.requirements.values()
        self._found = {
            f"broken-requirement:{need.name}": Breakable(
                f"broken-requirement:{need.name}", need.sentence, need
            )
            for need in needs
        }

    @property
    def breakable(self) -> list[Breakable]:
        """All requirements, in document order, then findings in the order in which they came."""
        return list(self._found.values())

    def ask_states(self, slices: Slices) -> None:
        """What needs no observer."""
        failures = failures_in(slices)
        for counts in slices.occurring:
            if self._limits.time_is_up:
                self.remark_all(self.too_late)
                return
            with phase(f"with {self._counted.told(counts)}"):
                part = slices.slice(counts, failures.of.get(counts, {}))
                self._note_all(counts, _findings_in(part))
                self._judge(counts, self._judged(part))
        if not failures.complete:
            self.remark_all("too many failing steps to look at all of them")

    def ask_runs(self, slices: Slices, need: Requirement) -> None:
        """A requirement that an observer follows, in a space in which it does."""
        for counts in slices.occurring:
            if self._limits.time_is_up:
                self.leave_open(need, self.too_late)
                return
            with phase(f"requirement {need.name} with {self._counted.told(counts)}"):
                part = slices.slice(counts, {})
                self._judge(counts, [watched.judged_in(self._product, part, need)])

    @property
    def too_late(self) -> str:
        """What is said of what there was no time for."""
        return f"stopped by {self._limits.reached_seconds}"

    def leave_open(self, need: Requirement, why: str) -> None:
        """A requirement of which no more is known."""
        one = self._found[f"broken-requirement:{need.name}"]
        one.remark = one.remark or why

    def remark_all(self, why: str) -> None:
        """Of nothing any more is known."""
        for one in self._found.values():
            one.remark = one.remark or why

    def _judged(self, part: Slice) -> Iterator[Judged]:
        """The verdicts on requirements that need no observer. What has to be possible is asked of
        the runs without a fault alone.
        """
        for need in self._counted.device.requirements.values():
            if not is_watched(need) and (need.pattern != "possible" or not any(part.counts)):
                yield requirement_checks.judged_in(part, need)

    def _judge(self, counts: Counts, every: Iterable[Judged]) -> None:
        for judged in every:
            if judged.verdict == BROKEN and judged.finding is not None:
                self._note(counts, judged.finding)
            elif judged.verdict == UNDECIDED:
                self.leave_open(judged.need, judged.remark or UNEXPLORED)

    def _note_all(self, counts: Counts, findings: Iterable[Finding]) -> None:
        for finding in findings:
            self._note(counts, finding)

    def _note(self, counts: Counts, finding: Finding) -> None:
        """Keep a set unless a smaller one is known."""
        one = self._found.setdefault(finding.id, Breakable(finding.id, finding.text))
        if not any(includes(counts, known.counts) for known in one.sets):
            one.sets.append(CutSet(counts, finding, self._counted.is_allowed(counts)))


def _findings_in(part: Slice) -> Iterator[Finding]:
    """The findings in one slice."""
    evidence = Evidence(part)
    for code in ASKED:
        find = BY_CODE[code].find
        if find is not None:
            yield from find(evidence)
