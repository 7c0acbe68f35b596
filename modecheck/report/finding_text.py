"""What is reported of a finding below its sentence and its id, as blocks of the document tree."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

from modecheck.checks.findings import Finding
from modecheck.model.places import Place
from modecheck.model.wording import counted
from modecheck.report import document_tree as doc
from modecheck.scenario.telling import STAYS

FIRST_DETAILS = 4
"""Details shown where many are folded; the last one, a count, is shown besides."""


def _here(place: Place) -> str:
    return seen_from_here(str(place))


def facts_of(
    finding: Finding, seen: Callable[[Place], str] = _here, *, folded: bool = False
) -> Iterator[doc.Block]:
    """Where it is as `seen` by the reader, in which variants, and the details; of many, those in
    the middle may be `folded`.
    """
    for said, place in (("at ", finding.place), *(("and ", place) for place in finding.also)):
        at = doc.code(seen(place))
        yield doc.Paragraph((said, at), doc.FAINT, wrapped=False)
    if finding.variants:
        yield doc.Paragraph(f"only with {' or '.join(finding.variants)}")
    items: tuple[doc.Block, ...] = tuple(map(doc.Item, finding.details))
    if folded and len(items) > FIRST_DETAILS + 2:
        middle = items[FIRST_DETAILS:-1]
        summary = doc.Paragraph(f"- {counted(len(middle), 'more detail')}", doc.FAINT)
        items = (*items[:FIRST_DETAILS], doc.Fold(summary, middle), items[-1])
    yield from items


def scenario_of(finding: Finding, *, whole: bool = False) -> Iterator[doc.Block]:
    """Its steps, all of them if it is to be `whole`, and whether it can stay like this."""
    yield doc.Steps(finding.scenario, whole=whole)
    yield from stays_in_words(finding)


def stays_in_words(finding: Finding) -> Iterator[doc.Block]:
    """Whether the device can stay where its scenario ends."""
    if finding.stays:
        yield doc.Paragraph(STAYS, hang=0)


def seen_from_here(place: str) -> str:
    """`file:line:column`, with the file relative to the current folder where that is shorter."""
    file, line, column = place.rsplit(":", 2)
    near = os.path.relpath(file) if os.path.isabs(file) else file
    return f"{min(file, near, key=len)}:{line}:{column}"
