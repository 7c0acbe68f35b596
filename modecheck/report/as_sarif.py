"""The verdict as SARIF 2.1.0 (OASIS, 2020), which code hosts show beside the lines of a model.

Numbers in comments are sections of the standard, cited from memory. The output does not depend on
the run: the same model gives the same bytes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

from modecheck import __version__
from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.model.finding_kinds import KINDS
from modecheck.model.places import Place
from modecheck.scenario.telling import ToldStep, condensed
from modecheck.scenario.traces import Trace

Json = dict[str, Any]
VERSION = "2.1.0"
SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json"


def sarif_text(*verdicts: Verdict) -> str:
    """A run for each device."""
    log = {"$schema": SCHEMA, "version": VERSION, "runs": list(map(_run, verdicts))}
    return json.dumps(log, indent=2, ensure_ascii=False) + "\n"


def _run(verdict: Verdict) -> Json:
    """Every finding with its place, scenario and level; accepted ones as suppressed."""
    return {
        "tool": {"driver": _driver()},
        "columnKind": "unicodeCodePoints",
        "invocations": [_invocation(verdict)],
        "artifacts": [_artifact(path, digest) for path, digest in verdict.device.digests.items()],
        "results": list(_results(verdict)),
    }


def file_uri(path: str) -> str:
    """A file as a URI (RFC 3986): relative to the current folder if it lies in it or below."""
    near = os.path.relpath(path)
    if near == os.pardir or near.startswith(os.pardir + os.sep):
        return Path(path).resolve().as_uri()
    return quote(Path(near).as_posix(), errors="surrogateescape")


def _driver() -> Json:
    return {
        "name": "modecheck",
        "version": __version__,
        "semanticVersion": __version__,
        "rules": [
            {
                "id": code,
                "shortDescription": {"text": kind.meaning},
                "help": {"text": kind.hint},
                "defaultConfiguration": {"level": kind.severity},
            }
            for code, kind in KINDS.items()
        ],
    }


def _invocation(verdict: Verdict) -> Json:
    """Lists what is undecided, so that no reader takes the result for a proof (3.20)."""
    open_ends = [{"level": "error", "message": {"text": text}} for text in _left_open(verdict)]
    remarks = [{"level": "note", "message": {"text": text}} for text in verdict.remarks]
    return {
        "executionSuccessful": verdict.complete,
        "toolExecutionNotifications": [*open_ends, *remarks],
    }


def _left_open(verdict: Verdict) -> Iterator[str]:
    for one in verdict.explored:
        variant = f"{one.variant}: " if one.variant else ""
        if not one.exploration.complete:
            yield f"{variant}incomplete, stopped by {one.exploration.stopped_by}"
        if one.reduced.not_asked:
            asked = ", ".join(one.reduced.not_asked)
            yield f"{variant}not checked {one.reduced.why_not_asked}: {asked}"
    for name in verdict.not_evaluated:
        yield f"the requirement {name} is undecided"


def _artifact(path: str, digest: str) -> Json:
    return {"location": {"uri": file_uri(path)}, "hashes": {"sha-256": digest}}


def _results(verdict: Verdict) -> Iterator[Json]:
    """If one result has suppressions, all must have them, at least as an empty list (3.27.23)."""
    for finding in verdict.findings:
        yield _result(finding) | {"suppressions": []}
    places = {one.finding: one.place for one in verdict.device.accepted}
    for accepted in verdict.accepted:
        until = f" (until {accepted.until})" if accepted.until else ""
        suppression = {
            "kind": "inSource",
            "status": "accepted",
            "justification": f"{accepted.reason}{until}",
            "location": _location(places[accepted.finding.id]),
        }
        yield _result(accepted.finding) | {"suppressions": [suppression]}


def _result(finding: Finding) -> Json:
    result: Json = {
        "ruleId": finding.code,
        "ruleIndex": list(KINDS).index(finding.code),
        "level": finding.severity,
        "message": {"text": "\n".join([finding.text, *finding.details])},
        "locations": [_location(finding.place)],
        "partialFingerprints": {"findingId/v1": finding.id},
    }
    if finding.also:
        result["relatedLocations"] = [
            {"id": number, **_location(place), "message": {"text": "the same cause"}}
            for number, place in enumerate(finding.also, start=1)
        ]
    if finding.variants:
        result["properties"] = {"variants": list(finding.variants)}
    if finding.trace is not None:
        result["codeFlows"] = [_code_flow(finding.trace)]
    return result


def _code_flow(trace: Trace) -> Json:
    """The scenario: the steps of all chips in the order in which they happen."""
    steps = list(map(_flow_step, condensed(trace.told)))
    start = {"location": {"message": {"text": "the device starts"}}, "importance": "unimportant"}
    text = "a shortest scenario"
    if trace.loop_from:
        text += f"; from step {trace.loop_from} on it can repeat forever"
    # A thread flow has at least one location (3.37), and a fault in the initial state has no steps.
    return {"message": {"text": text}, "threadFlows": [{"locations": steps or [start]}]}


def _flow_step(step: ToldStep) -> Json:
    changes = f" ({', '.join(step.changes)})" if step.changes else ""
    location = {
        **(_location(step.place) if step.place else {}),
        "message": {"text": step.text + changes},
    }
    flow: Json = {"location": location, "executionOrder": step.number, "importance": "essential"}
    if step.states:
        flow["state"] = {f"{chip}.state": {"text": name} for chip, name in step.states.items()}
    return flow


def _location(place: Place) -> Json:
    region: Json = {"startLine": place.line, "startColumn": place.column}
    physical: Json = {"artifactLocation": {"uri": file_uri(place.file)}, "region": region}
    marked = place.text[place.column - 1 : place.column - 1 + place.width]
    if marked:
        region |= {"endColumn": place.column + len(marked), "snippet": {"text": marked}}
        whole_line = {"startLine": place.line, "snippet": {"text": place.text}}
        physical["contextRegion"] = whole_line
    return {"physicalLocation": physical}
