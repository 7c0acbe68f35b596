"""What random runs have shown, as JSON. Findings are as in the JSON of `check`."""

from __future__ import annotations

from typing import Any

from modecheck.checks.findings import Finding
from modecheck.checks.roaming.finite_tests import LEFT_OUT
from modecheck.checks.roaming.roam import Roamed
from modecheck.checks.roaming.seen import SeenSoFar
from modecheck.report.as_json import accepted_as_json, finding_as_json, notes_as_json

Json = dict[str, Any]


def roamed_as_json(roamed: Roamed) -> Json:
    """Nothing in it depends on how long the runs took, except, if `by_clock` is true, the number of
    runs and what they have shown.
    """
    declared, estimate = roamed.declared, roamed.seen.estimate
    rules = sorted(declared.rules - roamed.seen.rules)
    return {
        "device": roamed.device.name,
        "file": roamed.device.file,
        "notes": notes_as_json(roamed.device),
        "complete": False,
        "seed": roamed.how.seed,
        "depth": roamed.how.depth,
        "stopped_by": roamed.stopped_by,
        "by_clock": roamed.by_clock,
        "variants": [variant for variant in roamed.variants if variant],
        "findings": [_finding(roamed, finding) for finding in roamed.findings],
        "accepted": [
            accepted_as_json(one, _finding(roamed, one.finding)) for one in roamed.accepted
        ],
        "remarks": list(roamed.remarks),
        "requirements": [
            {"id": need.name, "text": need.sentence, "pattern": need.pattern, "said": said}
            for need, said in roamed.requirements
        ],
        "over_time": [_seen(seen) for seen in roamed.over_time],
        "declared": {
            "rules": len(declared.rules),
            "events_in_states": declared.meetings,
            "mode_switches": declared.switches,
        },
        "rules_not_seen": [{"chip": chip, "rule": title} for chip, title in rules],
        "estimate": {
            "visited_once": estimate.once,
            "visited_twice": estimate.twice,
            "share_of_steps_to_new_states": estimate.unseen_share,
            "states_in_all": estimate.in_all,
        },
        "left_out": list(LEFT_OUT),
    }


def _finding(roamed: Roamed, finding: Finding) -> Json:
    shortest = finding.id not in roamed.longer
    return {**finding_as_json(finding), "shortest": shortest}


def _seen(seen: SeenSoFar) -> Json:
    return {
        "runs": seen.runs,
        "steps": seen.steps,
        "states": seen.estimate.states,
        "states_exact": seen.estimate.exact,
        "rules": len(seen.rules),
        "events_in_states": len(seen.meetings),
        "mode_switches": len(seen.switches),
    }
