"""A comparison of two devices as JSON."""

from __future__ import annotations

from modecheck.compare.behaviour import Behaviour
from modecheck.compare.text_changes import Change
from modecheck.report.as_json import Json, finding_as_json, notes_as_json
from modecheck.report.trial_json import requirements_as_json, variants_as_json
from modecheck.review.concerns import Concern
from modecheck.review.device_comparison import DeviceComparison, Origin
from modecheck.review.retest import Retest
from modecheck.scenario.telling import ToldStep


def comparison_as_json(comparison: DeviceComparison) -> Json:
    """The whole comparison."""
    found = comparison.findings
    return {
        "old": _side(comparison, comparison.old_origin),
        "new": _side(comparison, comparison.new_origin),
        "complete": comparison.complete,
        "broken": comparison.broken,
        "text": [_change(comparison, change) for change in comparison.text.changes],
        "findings": {
            "new": [finding_as_json(one) for one in found.new],
            "fixed": list(found.fixed),
            "unchanged": list(found.unchanged),
            "unseen": list(found.unseen),
        },
        "requirements": requirements_as_json(found),
        "equivalence": comparison.asked.equivalence.value,
        "behaviours": [_behaviour(one) for one in comparison.behaviours],
        "retest": _retest(comparison.retest),
    }


def _side(comparison: DeviceComparison, origin: Origin) -> Json:
    verdict = comparison.old if origin is comparison.old_origin else comparison.new
    return {
        "name": origin.name,
        "device": verdict.device.name,
        "revision": origin.revision or None,
        "variants": variants_as_json(verdict),
        "notes": [] if origin.revision else notes_as_json(verdict.device),
    }


def _change(comparison: DeviceComparison, change: Change) -> Json:
    return {
        "what": change.what,
        "kind": change.name.kind,
        "old": str(change.old) if change.old is not None else None,
        "new": str(change.new) if change.new is not None else None,
        "keys": [
            {"key": k, "before": before, "after": after} for k, before, after in change.facets
        ],
        "inside": dict(change.inside),
        "behind": str(change.after) if change.after is not None else None,
        "wording_only": change.wording_only,
        "old_place": comparison.old_origin.place(change.old_place) or None,
        "new_place": comparison.new_origin.place(change.new_place) or None,
    }


def _behaviour(one: Behaviour) -> Json:
    differs = one.difference
    told = one.trace.told if one.trace is not None else ()
    return {
        "look": one.look.title,
        "concerns": sorted(one.look.concerns),
        "mode": one.mode or None,
        "variant": one.variant or None,
        "outcome": one.outcome.value,
        "reason": one.reason or None,
        "difference": None
        if differs is None
        else {
            "how": differs.how.value,
            "who": "old" if differs.by_first else "new",
            "events": list(differs.events),
            "offers": list(differs.offers),
            "lost": list(differs.lost),
            "sentence": differs.sentence("the old device", "the new device"),
        },
        "scenario": [_step(step) for step in told],
        "loop_from": (one.trace.loop_from or None) if one.trace is not None else None,
    }


def _step(step: ToldStep) -> Json:
    return {
        "number": step.number,
        "label": step.label,
        "text": step.text,
        "changes": list(step.changes),
        "states": step.states,
    }


def _retest(found: Retest) -> Json:
    return {
        "concerns": [_concern(one) for one in found.concerns],
        "new_findings_without_concern": list(found.untagged),
        "durations_not_judged": list(map(_named, found.durations)),
        "bench": {
            "steps": [
                {
                    "sequence": o.sequence,
                    "step": o.step,
                    "start": o.start,
                    "do": o.do,
                    "rules": list(o.rules),
                }
                for o in found.bench.steps
            ],
            "of": found.bench.of,
            "never": list(found.bench.never),
            "stopped_by": found.bench.stopped_by or None,
        },
    }


def _named(change: Change) -> Json:
    return {"what": change.what, "kind": change.name.kind, "name": str(change.name)}


def _concern(one: Concern) -> Json:
    return {
        "concern": one.concern,
        "standing": one.standing.value,
        "new_findings": list(one.new),
        "fixed_findings": list(one.fixed),
        "changes": list(map(_named, one.changes)),
        "durations_not_judged": list(map(_named, one.durations)),
        "behaviours": [
            {"look": b.look.title, "mode": b.mode or None, "outcome": b.outcome.value}
            for b in one.behaviours
        ],
    }
