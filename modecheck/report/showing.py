"""Which findings a report shows, and how much of each: what people ask for with options."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from modecheck.checks.findings import Finding
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.report.finding_groups import FindingGroup, groups_of, single
from modecheck.report.finding_text import seen_from_here

LONGEST_IN_BRIEF = 100
"""Characters of a sentence in a list that has a line for each finding."""


@dataclass(frozen=True, slots=True)
class Showing:
    """`only` holds codes and ids, everything if it is empty; `limit` is the most entries that are
    shown. In brief, an entry is a line; in full, each finding is an entry of its own with its whole
    scenario, and nothing is folded away.
    """

    brief: bool = False
    in_full: bool = False
    only: tuple[str, ...] = ()
    limit: int | None = None

    def chosen(self, findings: Sequence[Finding]) -> tuple[Finding, ...]:
        """The findings that were asked for."""
        return tuple(
            one for one in findings if not self.only or {one.id, one.code} & set(self.only)
        )


USUAL = Showing()


def finding_blocks(findings: Sequence[Finding], showing: Showing = USUAL) -> Iterator[doc.Block]:
    """The findings that were asked for, and how many there are besides."""
    chosen = showing.chosen(findings)
    groups = single(chosen) if showing.in_full else groups_of(chosen)
    shown = groups[: showing.limit]
    if showing.brief:
        yield from map(_line, shown)
    else:
        for code, some in groupby(shown, key=lambda group: group.first.code):
            yield doc.Findings(code, tuple(some), whole=showing.in_full)
    left = [one for group in groups[len(shown) :] for one in group.findings]
    if left:
        codes = ", ".join(f"{count:,} {code}" for code, count in _codes(left))
        yield doc.BLANK
        yield doc.Paragraph(f"{counted(len(left), 'more finding')}: {codes}", indent=0)
    if len(chosen) < len(findings):
        others = counted(len(findings) - len(chosen), "finding")
        yield doc.BLANK
        yield doc.Paragraph(
            f"not shown: {others} of other kinds than {' and '.join(showing.only)}", indent=0
        )


def _codes(findings: Sequence[Finding]) -> Iterator[tuple[str, int]]:
    yield from ((code, count) for code, count in Counter(one.code for one in findings).items())


def _line(group: FindingGroup) -> doc.Paragraph:
    """A place, a level and a sentence, as compilers write them, so that editors can go there."""
    first = group.first
    tone = doc.BAD if first.severity == "error" else doc.OPEN
    more = len(group.findings) - 1
    words = (
        doc.code(seen_from_here(str(first.place))),
        ": ",
        doc.Fragment(first.severity, tone),
        f": {_shortened(group.text)} [",
        doc.code(first.id),
        f" and {more:,} more]" if more else "]",
    )
    return doc.Paragraph(words, indent=0, wrapped=False)


def _shortened(text: str) -> str:
    """The beginning of a long sentence, up to a word."""
    if len(text) <= LONGEST_IN_BRIEF:
        return text
    return f"{text[:LONGEST_IN_BRIEF].rpartition(' ')[0]} …"
