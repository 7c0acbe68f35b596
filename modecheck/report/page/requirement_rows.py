"""The table of requirements: what each states, under which assumptions, and its verdict."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.explored import Verdict
from modecheck.checks.judged import BROKEN, FALLS, HOLDS, UNDECIDED, VACUOUS, Judged
from modecheck.model.parts import ExactlyOnce, Requirement
from modecheck.report.page.outline import anchor_of

ACCEPTED = "accepted"

MEANINGS = {
    HOLDS: "holds",
    BROKEN: "broken",
    FALLS: "broken, with one that it builds on",
    ACCEPTED: "broken, but accepted",
    VACUOUS: "holds, but is never exercised",
    UNDECIDED: "undecided",
}
"""Every outcome, in words."""


@dataclass(frozen=True, slots=True)
class RequirementRow:
    """`outcome` is a key of `MEANINGS`; `anchor` leads to the finding, where there is one."""

    name: str
    sentence: str
    asks: str
    assumptions: tuple[str, ...]
    outcome: str
    why: str
    anchor: str

    @property
    def said(self) -> str:
        return MEANINGS[self.outcome]


def requirement_rows(verdict: Verdict) -> list[RequirementRow]:
    """A row for each requirement, in the order of the device file."""
    reasons = {one.finding.id: one.reason for one in verdict.accepted}
    return [_row(judged, reasons) for judged in verdict.requirements]


def _row(judged: Judged, reasons: dict[str, str]) -> RequirementRow:
    need, finding = judged.need, judged.finding
    reason = reasons.get(finding.id) if finding is not None else None
    rests = (f"eventually, {one}" for one in judged.rests_on)
    return RequirementRow(
        name=need.name,
        sentence=need.sentence,
        asks=in_words(need),
        assumptions=(*assumptions_of(need), *rests),
        outcome=judged.verdict if reason is None else ACCEPTED,
        why=judged.remark if reason is None else reason,
        anchor=anchor_of(finding.id) if finding is not None and judged.verdict != FALLS else "",
    )


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
