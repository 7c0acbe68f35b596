"""What a model declares beyond its behaviour: conditions of modes, what is left over."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.repair.changes import RepairChange, nested
from modecheck.repair.situation import RepairSituation

DECLARE = "declarations"


def declaration_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Modes that exclude each other, and what is declared for nothing removed."""
    for finding in at.findings:
        if finding.code == "two-modes":
            yield from _apart(at, finding.subject.split("+"))
        elif finding.code == "needless-acceptance":
            yield from _unaccepted(at, finding.subject)
        elif finding.code == "unused":
            yield from _removed(at, finding.subject)


def _apart(at: RepairSituation, modes: list[str]) -> Iterator[RepairChange]:
    for mode in modes:
        for other in modes:
            if mode != other:
                own, rest = at.device.modes[mode].text, at.device.modes[other].text
                both = f"({own}) and not ({rest})"
                words = f"mode {mode} does not include {other}"
                yield RepairChange(
                    DECLARE, words, nested(("modes", mode), both), frozenset({("", mode)})
                )


def _unaccepted(at: RepairSituation, subject: str) -> Iterator[RepairChange]:
    accepted = at.written.device.get("accepted")
    if isinstance(accepted, list):
        left = [
            one for one in accepted if not (isinstance(one, dict) and one.get("finding") == subject)
        ]
        yield RepairChange(
            DECLARE, f"{subject} is not accepted", {"accepted": left or None}, frozenset()
        )


def _removed(at: RepairSituation, subject: str) -> Iterator[RepairChange]:
    """A message that no rule sends."""
    link, _, message = subject.partition(".")
    path, data = at.written.links.get(link, ((), {}))
    carries = data.get("carries")
    words = f"{link} does not carry {message}"
    about = frozenset({("", link)})
    if isinstance(carries, dict) and message in carries:
        yield RepairChange(DECLARE, words, nested((*path, "carries", message), None), about)
    elif isinstance(carries, list) and message in carries:
        left = [one for one in carries if one != message]
        yield RepairChange(DECLARE, words, nested((*path, "carries"), left), about)
