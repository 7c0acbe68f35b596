"""What a change of a device did to its verdict: new and fixed findings, changed requirements.

A finding is recognised by its id, and so by the names in it, in each variant. A finding that was
accepted is not new, and one that falls with another requirement is not fixed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, FALLS

NOT_ASKED = "not asked"
"""The verdict on a requirement that the device does not have."""
CONSEQUENCE = "needless-acceptance"
"""It follows from fixing an accepted finding, and is about the text only."""


@dataclass(frozen=True, slots=True)
class NewVerdict:
    """A requirement whose verdict has changed."""

    name: str
    sentence: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class VerdictDifference:
    """`new` are new findings; `fixed` are the ids of findings that are gone, `unchanged` of those
    that remain. Where the new verdict is incomplete, findings that were not seen again are
    `unseen`.
    """

    new: tuple[Finding, ...]
    fixed: tuple[str, ...]
    unchanged: tuple[str, ...]
    unseen: tuple[str, ...]
    requirements: tuple[NewVerdict, ...]
    complete: bool


def difference(old: Verdict, new: Verdict) -> VerdictDifference:
    """How the new verdict differs from the old one."""
    before, after = _occurrences(old), _occurrences(new)
    found = tuple(f for f in new.findings if _is_new(f, before, after))
    fallen = {one.need.name for one in new.requirements if one.verdict == FALLS}
    falling = {f"broken-requirement:{name}" for name in fallen}
    gone = [name for name in before if name not in after and name not in falling]
    ids = {finding.id for finding in found}
    return VerdictDifference(
        new=found,
        fixed=tuple(gone) if new.complete else (),
        unchanged=tuple(name for name in before if name in {*after, *falling} and name not in ids),
        unseen=() if new.complete else tuple(gone),
        requirements=tuple(_requirements(old, new)),
        complete=old.complete and new.complete,
    )


def _occurrences(verdict: Verdict) -> dict[str, frozenset[str]]:
    """The variants in which each finding occurs, by its id, whether it is accepted or not."""
    everywhere = frozenset(one.variant for one in verdict.explored)
    findings = [*verdict.findings, *(one.finding for one in verdict.accepted)]
    return {one.id: frozenset(one.variants) or everywhere for one in findings}


def _is_new(
    finding: Finding, before: dict[str, frozenset[str]], after: dict[str, frozenset[str]]
) -> bool:
    known = before.get(finding.id)
    if known is None:
        return finding.code != CONSEQUENCE
    # A variant of an option that is new itself cannot have been broken before.
    return bool(after[finding.id] - known)


def _requirements(old: Verdict, new: Verdict) -> Iterator[NewVerdict]:
    before = {one.need.name: one for one in old.requirements}
    after = {one.need.name: one for one in new.requirements}
    for name in {**before, **after}:
        one = after.get(name) or before[name]
        was = before[name].verdict if name in before else NOT_ASKED
        now = after[name].verdict if name in after else NOT_ASKED
        if was != now:
            yield NewVerdict(name, one.need.sentence, was, now)


def breaks(change: NewVerdict) -> bool:
    """Whether a requirement no longer holds, or is new and does not hold."""
    return change.after in (BROKEN, FALLS) and change.before not in (BROKEN, FALLS)
