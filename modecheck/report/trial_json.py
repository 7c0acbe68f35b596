"""What an overlay file changes, as JSON."""

from __future__ import annotations

from modecheck.checks.differences import VerdictDifference
from modecheck.checks.explored import Verdict
from modecheck.report.as_json import Json, verdict_as_json


def trial_as_json(old: Verdict, new: Verdict, found: VerdictDifference, over: str) -> Json:
    """The verdict on the device with the overlay, and under `trial` what the overlay changes."""
    return verdict_as_json(new) | {"trial": _trial(old, found, over)}


def _trial(old: Verdict, found: VerdictDifference, over: str) -> Json:
    """Findings by their ids. New ones stand in full under `findings`."""
    return {
        "with": over,
        "complete": found.complete,
        "new": [finding.id for finding in found.new],
        "fixed": list(found.fixed),
        "unchanged": list(found.unchanged),
        "unseen": list(found.unseen),
        "requirements": requirements_as_json(found),
        "without_file": variants_as_json(old),
    }


def requirements_as_json(found: VerdictDifference) -> list[Json]:
    """Each requirement whose verdict changed, with its verdicts before and after."""
    return [
        {"id": one.name, "text": one.sentence, "before": one.before, "after": one.after}
        for one in found.requirements
    ]


def variants_as_json(verdict: Verdict) -> list[Json]:
    """Each variant with its size."""
    return [
        {
            "options": dict(one.device.variant),
            "states": one.exploration.state_count,
            "complete": one.exploration.complete,
        }
        for one in verdict.explored
    ]
