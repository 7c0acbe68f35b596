"""The verdict as JSON, for scripts and CI."""

from __future__ import annotations

import json
from typing import Any

from modecheck.checks.acceptance import AcceptedFinding
from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import Cost, Judged
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.switch_endings import SwitchEnding
from modecheck.model.clocks import spelled
from modecheck.model.parts import Device
from modecheck.report.finding_groups import FindingGroup, groups_of
from modecheck.scenario.telling import ToldStep, spelled_or_none

Json = dict[str, Any]


def json_text(verdict: Verdict) -> str:
    """The verdict as indented JSON."""
    return json.dumps(verdict_as_json(verdict), indent=2, ensure_ascii=False) + "\n"


def verdict_as_json(verdict: Verdict) -> Json:
    """With one variant its figures stand at the top level; with several, under `variants`."""
    common: Json = {
        "device": verdict.device.name,
        "file": verdict.device.file,
        "complete": verdict.complete,
        "findings": list(map(finding_as_json, verdict.findings)),
        "groups": list(map(_group, groups_of(verdict.findings))),
        "accepted": [
            accepted_as_json(one, finding_as_json(one.finding)) for one in verdict.accepted
        ],
        "remarks": list(verdict.remarks),
        "notes": notes_as_json(verdict.device),
        "not_evaluated": list(verdict.not_evaluated),
        "requirements": [_requirement(judged) for judged in verdict.requirements],
    }
    if len(verdict.explored) == 1:
        return common | _explored(verdict.explored[0])
    variants = [
        {**_explored(one), "complete": one.exploration.complete} for one in verdict.explored
    ]
    return common | {"variants": variants}


def _group(group: FindingGroup) -> Json:
    """Findings that are reported as one entry, by their ids."""
    return {"text": group.text, "findings": [one.id for one in group.findings]}


def notes_as_json(device: Device) -> list[Json]:
    """Remarks on the files of a device that are no errors."""
    return [
        {
            "file": note.place.file,
            "line": note.place.line,
            "column": note.place.column,
            "text": note.message,
        }
        for note in device.notes
    ]


def _requirement(judged: Judged) -> Json:
    return {
        "id": judged.need.name,
        "text": judged.need.sentence,
        "pattern": judged.need.pattern,
        "verdict": judged.verdict,
        "rests_on": list(judged.rests_on),
        "remark": judged.remark or None,
        "finding": judged.finding.id if judged.finding is not None else None,
        "builds_on": list(judged.need.builds_on),
        "cost": None if judged.cost is None else _cost(judged.cost),
    }


def _cost(cost: Cost) -> Json:
    """What it cost to decide a requirement. Seconds differ from run to run."""
    return {
        "states": cost.states,
        "seconds": round(cost.seconds, 3),
        "shared_by": cost.shared_by,
    }


def _explored(one: Explored) -> Json:
    found = one.exploration
    return {
        "options": dict(one.device.variant),
        "states": found.state_count,
        "transitions": found.transitions,
        "depth": found.depth,
        "layers": list(found.layers),
        "stopped_by": found.stopped_by or None,
        "time": _time(one),
        "bits_per_state": found.product.bits,
        "reductions": {
            "symmetry": one.reduced.units is not None,
            "identical_units": [list(unit) for unit in one.reduced.units or ()],
            "identical_units_stopped_by": one.reduced.units_stopped_by or None,
            "time": one.reduced.time_acceleration,
            "order": one.reduced.order,
            "not_asked": list(one.reduced.not_asked),
        },
        "modes": {
            "states": dict(one.modes),
            "switches": [_switch(switch, complete=found.complete) for switch in one.switches],
            "endings": list(map(_ending, one.endings)),
        },
    }


def _time(one: Explored) -> Json | None:
    """How time was treated; null for a device without a clock."""
    if one.device.clock is None:
        return None
    tick = spelled(one.device.clock.tick)
    return {"by": "zones" if one.reduced.zones else "digital clocks", "tick": tick}


def _ending(ending: SwitchEnding) -> Json:
    return {
        "from": ending.mode,
        "at_most": ending.at_most,
        "loss": None if ending.loss is None else list(map(step_as_json, ending.loss.told)),
    }


def _switch(switch: ModeSwitch, *, complete: bool) -> Json:
    trace = switch.trace
    told = trace.told[trace.switch_from :] if trace is not None else ()
    return {
        "from": switch.source,
        "to": switch.target,
        "possible": switch.possible or (False if complete else None),
        "direct": switch.direct,
        "steps": switch.steps,
        "via": list(switch.via),
        "scenario": list(map(step_as_json, told)),
    }


def accepted_as_json(accepted: AcceptedFinding, finding: Json) -> Json:
    """An accepted finding: its JSON, with the reason and the date of expiry."""
    return {
        **finding,
        "reason": accepted.reason,
        "until": accepted.until.isoformat() if accepted.until else None,
    }


def finding_as_json(finding: Finding) -> Json:
    """A finding with the steps of its scenario."""
    return {
        "id": finding.id,
        "code": finding.code,
        "subject": finding.subject,
        "severity": finding.severity,
        "file": finding.place.file,
        "line": finding.place.line,
        "column": finding.place.column,
        "text": finding.text,
        "details": list(finding.details),
        "hint": finding.hint,
        "also": [str(place) for place in finding.also],
        "variants": list(finding.variants),
        "steps": finding.steps,
        "loop_from": (finding.trace.loop_from or None) if finding.trace is not None else None,
        "scenario": list(map(step_as_json, finding.scenario)),
    }


def step_as_json(step: ToldStep) -> Json:
    return {
        "number": step.number,
        "label": step.label,
        "text": step.text,
        "changes": list(step.changes),
        "states": step.states,
        **times_of(step),
    }


def times_of(step: ToldStep) -> Json:
    """How long a step lasts, and the time since the start; empty for a device without a clock."""
    if step.since is None:
        return {}
    return {"lasts": spelled_or_none(step.lasts), "time": spelled_or_none(step.since)}
