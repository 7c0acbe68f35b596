"""The table of requirements: what each asks, under which assumptions, and whether it holds."""

from __future__ import annotations

from dataclasses import dataclass

from modecheck.checks.verdict import Verdict
from modecheck.model.parts import Exchange, Requirement
from modecheck.report.page.outline import anchor_of

MEANINGS = {
    "holds": "holds",
    "broken": "broken",
    "accepted": "broken, and accepted",
    "open": "not decided",
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
    return [_row(verdict, need) for need in verdict.device.requirements.values()]


def _row(verdict: Verdict, need: Requirement) -> RequirementRow:
    outcome, why, anchor = _outcome(verdict, need)
    asks, assumptions = in_words(need), assumptions_of(need)
    return RequirementRow(need.name, need.sentence, asks, assumptions, outcome, why, anchor)


def _outcome(verdict: Verdict, need: Requirement) -> tuple[str, str, str]:
    for finding in verdict.findings:
        if finding.code == "broken-requirement" and finding.subject == need.name:
            return "broken", "", anchor_of(finding)
    for one in verdict.accepted:
        if one.finding.code == "broken-requirement" and one.finding.subject == need.name:
            return "accepted", one.reason, anchor_of(one.finding)
    if need.name in verdict.not_evaluated:
        return "open", "this version does not evaluate it", ""
    if not all(one.exploration.complete for one in verdict.explored):
        return "open", "not broken in what was explored, which is incomplete", ""
    return "holds", "", ""


def in_words(need: Requirement) -> str:
    """What a requirement asks, as its keys say it."""
    if need.exchange is not None:
        return _exchange_in_words(need.exchange)
    asked = f"{need.pattern}: {need.text}"
    if need.pattern == "whenever":
        asked = f"whenever: {need.text}, then: {need.response_text}"
    elif need.pattern == "before":
        asked = f"before: {need.text}, first: {need.response_text}"
    return asked


def _exchange_in_words(exchange: Exchange) -> str:
    sent = ", ".join(".".join(one) for one in exchange.sent)
    received = ", ".join(".".join(one) for one in exchange.received)
    return f"exactly once, sent: {sent}, received: {received}"


def assumptions_of(need: Requirement) -> tuple[str, ...]:
    """What a requirement takes for granted, or restricts itself to."""
    found = []
    if need.span.text:
        found.append(f"only {need.span.text}")
    if need.without:
        found.append(f"nobody helps with {', '.join(need.without)}")
    if need.exchange is not None and need.exchange.may_lose_text:
        found.append(f"loss is allowed while {need.exchange.may_lose_text}")
    if need.exchange is not None and need.exchange.under_way is not None:
        found.append(f"at most {need.exchange.under_way} under way at a time")
    return tuple(found)
