"""What a page says of a requirement besides its verdict: its condition, and what it assumes."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.judged import FALLS, Judged
from modecheck.model.parts import ExactlyOnce, Requirement
from modecheck.report import document_tree as doc


def notes_on(judged: Judged, reasons: dict[str, doc.Paragraph]) -> Iterator[doc.Paragraph]:
    """Its condition and assumptions, and where it is broken; `reasons` are why findings are
    accepted, by their ids.
    """
    need, finding = judged.need, judged.finding
    yield doc.Paragraph(doc.code(in_words(need), doc.FAINT))
    for one in assumptions_of(need):
        yield doc.Paragraph(one, doc.FAINT)
    if finding is not None and judged.verdict != FALLS:
        yield doc.Paragraph(("see ", doc.Fragment(finding.id, code=True, reported=True)))
        if finding.id in reasons:
            yield reasons[finding.id]


def in_words(need: Requirement) -> str:
    """The condition of a requirement, in the words of its keys."""
    if need.exchange is not None:
        return _exchange_in_words(need.exchange)
    asked = f"{need.pattern}: {need.text}"
    if need.pattern == "whenever":
        asked = f"whenever: {need.text}, then: {need.response_text}"
    elif need.pattern == "before":
        asked = f"before: {need.text}, first: {need.response_text}"
    return asked


def _exchange_in_words(exchange: ExactlyOnce) -> str:
    sent = ", ".join(".".join(one) for one in exchange.sent)
    received = ", ".join(".".join(one) for one in exchange.received)
    return f"exactly once, sent: {sent}, received: {received}"


def assumptions_of(need: Requirement) -> tuple[str, ...]:
    """What a requirement assumes, or is restricted to."""
    found = []
    if need.span.text:
        found.append(f"only {need.span.text}")
    if need.without:
        found.append(f"even without {', '.join(need.without)}")
    if need.exchange is not None and need.exchange.may_lose_text:
        found.append(f"loss is allowed while {need.exchange.may_lose_text}")
    if need.exchange is not None and need.exchange.under_way is not None:
        found.append(f"at most {need.exchange.under_way} in flight at a time")
    return tuple(found)
