"""What is reported of a finding below its sentence and its id, as blocks of the document tree."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

from modecheck.checks.findings import Finding
from modecheck.model.places import Place
from modecheck.report import document_tree as doc
from modecheck.scenario.telling import STAYS


def _here(place: Place) -> str:
    return seen_from_here(str(place))


def facts_of(finding: Finding, seen: Callable[[Place], str] = _here) -> Iterator[doc.Block]:
    """Where it is as `seen` by the reader, in which variants, and the details."""
    for said, place in (("at ", finding.place), *(("and ", place) for place in finding.also)):
        at = doc.code(seen(place))
        yield doc.Paragraph((said, at), doc.FAINT, wrapped=False)
    if finding.variants:
        yield doc.Paragraph(f"only with {' or '.join(finding.variants)}")
    yield from map(doc.Item, finding.details)


def scenario_of(finding: Finding, *, whole: bool = False) -> Iterator[doc.Block]:
    """Its steps, all of them if it is to be `whole`, and whether it can stay like this."""
    yield doc.Steps(finding.scenario, whole=whole)
    if finding.stays:
        yield doc.Paragraph(STAYS, hang=0)


def seen_from_here(place: str) -> str:
    """`file:line:column`, with the file relative to the current folder where that is shorter."""
    file, line, column = place.rsplit(":", 2)
    near = os.path.relpath(file) if os.path.isabs(file) else file
    return f"{min(file, near, key=len)}:{line}:{column}"
