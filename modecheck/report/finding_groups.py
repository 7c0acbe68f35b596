"""Findings of one cause as one entry: the shortest scenario stands for all of them.

A chip that has no answer to a message in seven states has one gap, not seven. Each finding keeps
its id, so acceptances, JSON and test results do not depend on how findings are grouped.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from typing import TypeVar

from modecheck.checks.findings import Finding
from modecheck.model.finding_ids import BETWEEN
from modecheck.model.wording import counted, listed

T = TypeVar("T")

MOST_NAMED = 6
"""Names listed in the sentence of a group; of more, the first ones are."""


@dataclass(frozen=True, slots=True)
class FindingGroup:
    """Findings of one code that have one cause, in the order of a report: the first has the
    shortest scenario.
    """

    text: str
    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        return self.findings[0]


@dataclass(frozen=True, slots=True)
class _Pattern:
    """Subjects of as many names as `length` that differ in the one at `varies`, a `noun`; `said`
    is the sentence of a group, with the names of its first finding by number, `{each}` for those
    that differ, and `{before}` and `{after}` for what the first sentence says around its own.
    """

    length: int
    varies: int
    noun: str
    said: str

    def names(self, finding: Finding) -> tuple[str, ...]:
        """The names of a subject; none for a subject of another form, or of several parts."""
        between = BETWEEN.get(finding.code, ".")
        names = tuple(finding.subject.split(between, self.length - 1))
        return names if len(names) == self.length and "+" not in finding.subject else ()

    def around(self, finding: Finding) -> tuple[str, str]:
        """The sentence before and after the name that varies: what a group has in common."""
        names = self.names(finding)
        return _around(finding.text, names[self.varies]) if names else (finding.id, "")

    def text(self, findings: Sequence[Finding]) -> str:
        each = [self.names(one)[self.varies] for one in findings]
        shown = listed(each) if len(each) <= MOST_NAMED else f"{', '.join(each[:MOST_NAMED])}, …"
        before, after = self.around(findings[0])
        return self.said.format(
            *self.names(findings[0]),
            each=f"{shown} ({counted(len(each), self.noun)})",
            before=before,
            after=after,
        )


PATTERNS: dict[str, tuple[_Pattern, ...]] = {
    "deadlock": (_Pattern(2, 1, "state", "{0} waits forever in {each}"),),
    "stuck-chip": (_Pattern(2, 1, "state", "{0} stays forever in {each}{after}"),),
    "unspecified-reception": (
        _Pattern(3, 1, "state", "{0} has no answer to {2} in {each}"),
        _Pattern(3, 2, "message", "{0} in {1} has no answer to {each}"),
    ),
    "blocked-reaction": (),
    "overflow": (_Pattern(2, 1, "message", "{0} is full when one of these is sent: {each}"),),
    "unreachable-state": (_Pattern(2, 1, "state", "{before} {each}"),),
    "dead-rule": (_Pattern(2, 1, "rule", "{before} {each}{after}"),),
    "dead-letter": (
        _Pattern(2, 1, "message", "{before} {each} over {0}, where they never arrive"),
    ),
    "no-mode-switch": (
        _Pattern(2, 1, "mode", "no path leads from {0} to {each}"),
        _Pattern(2, 0, "mode", "no path leads to {1} from {each}"),
    ),
}
"""The codes whose findings are grouped, each by its patterns in turn. Findings that match one are
grouped if their sentences are the same but for the name that varies.
"""


def groups_of(findings: Iterable[Finding]) -> tuple[FindingGroup, ...]:
    """Findings of one cause together; each group stands where its first finding stood."""
    groups: list[FindingGroup] = []
    for code, some in groupby(findings, key=lambda one: one.code):
        own = list(some)
        found = _of_chips_alike(_of_one_chip(code, own)) if code in PATTERNS else single(own)
        groups += sorted(found, key=lambda group: own.index(group.first))
    return tuple(groups)


def single(findings: Iterable[Finding]) -> tuple[FindingGroup, ...]:
    """Each finding as a group of its own."""
    return tuple(FindingGroup(one.text, (one,)) for one in findings)


def _of_one_chip(code: str, findings: Sequence[Finding]) -> list[FindingGroup]:
    """By each pattern in turn, those that no earlier one has grouped."""
    groups: list[FindingGroup] = []
    left = list(findings)
    for pattern in PATTERNS[code]:
        found = _alike(left, partial(_but_for_a_name, pattern))
        groups += (FindingGroup(pattern.text(some), tuple(some)) for some in found)
        grouped = {one.id for some in found for one in some}
        left = [one for one in left if one.id not in grouped]
    return [*groups, *single(left)]


def _but_for_a_name(pattern: _Pattern, finding: Finding) -> object:
    return pattern.around(finding), finding.variants


def _of_chips_alike(groups: Sequence[FindingGroup]) -> list[FindingGroup]:
    """Groups of chips that are described by the same lines of a file as one."""
    merged = _alike(groups, _but_for_the_chip)
    known = {group.first.id for some in merged for group in some}
    found = [group for group in groups if group.first.id not in known]
    for some in merged:
        before, after = _around(some[0].text, _chip(some[0]))
        chips = f"each of {listed([_chip(group) for group in some])}"
        own = (one for group in some for one in group.findings)
        shortest_first = tuple(sorted(own, key=lambda one: (one.steps or 0, one.id)))
        found.append(FindingGroup(f"{before} {chips}{after}".lstrip(), shortest_first))
    return found


def _but_for_the_chip(group: FindingGroup) -> object:
    if "+" in group.first.subject:
        return group.first.id
    places = sorted(str(one.place) for one in group.findings)
    return _around(group.text, _chip(group)), places[0], tuple(places), group.first.variants


def _chip(group: FindingGroup) -> str:
    return group.first.subject.partition(".")[0]


def _alike(parts: Iterable[T], key: Callable[[T], object]) -> list[list[T]]:
    """Those of which there are several with the same key."""
    found: dict[object, list[T]] = {}
    for one in parts:
        found.setdefault(key(one), []).append(one)
    return [some for some in found.values() if len(some) > 1]


def _around(text: str, name: str) -> tuple[str, str]:
    """What stands before and after the first occurrence of a name."""
    found = re.search(rf"(?<![\w.]){re.escape(name)}(?!\w)", text)
    return (text[: found.start()].rstrip(), text[found.end() :]) if found else (text, "")
