"""SARIF 2.1.0: valid, at the right lines, with scenarios as code flows."""

from __future__ import annotations

import json
import os
from copy import deepcopy
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import jsonschema
import pytest

from modecheck.checks.explored import Verdict
from modecheck.model.finding_kinds import KINDS
from modecheck.report.as_sarif import file_uri, sarif_text
from tests.cli.running import MODELS, ROOT
from tests.report.checked import FEW, ODD, SMALL_TWINS, checked, checked_text, twin

SCHEMA = json.loads((Path(__file__).parent / "sarif-2.1.0-part.json").read_text("utf-8"))


def log_of(verdict: Verdict) -> Any:
    """The log, after it was held against the schema."""
    log = json.loads(sarif_text(verdict))
    jsonschema.Draft7Validator(SCHEMA).validate(log)
    return log


def run_of(verdict: Verdict) -> Any:
    """The only run."""
    (run,) = log_of(verdict)["runs"]
    return run


def places_in(node: Any) -> list[Any]:
    """Every physical location below a node."""
    if isinstance(node, list):
        return [place for item in node for place in places_in(item)]
    if not isinstance(node, dict):
        return []
    own = [node["physicalLocation"]] if "physicalLocation" in node else []
    return own + [place for item in node.values() for place in places_in(item)]


def test_the_schema_refuses_what_is_wrong() -> None:
    """A schema that takes anything would prove nothing."""
    log = log_of(checked(twin("silent_plug")))
    for change in ("no message", "unknown key", "line 0", "empty flow", "odd level"):
        wrong = deepcopy(log)
        result = wrong["runs"][0]["results"][0]
        match change:
            case "no message":
                del result["message"]
            case "unknown key":
                result["severity"] = "high"
            case "line 0":
                result["locations"][0]["physicalLocation"]["region"]["startLine"] = 0
            case "empty flow":
                result["codeFlows"][0]["threadFlows"][0]["locations"] = []
            case _:
                result["level"] = "fatal"
        assert not jsonschema.Draft7Validator(SCHEMA).is_valid(wrong), change


@pytest.mark.parametrize("name", SMALL_TWINS)
def test_each_finding_is_a_result(name: str) -> None:
    """With its rule, its level, and an identity that survives moving lines."""
    verdict = checked(twin(name))
    run = run_of(verdict)
    rules = run["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == list(KINDS)
    for finding, result in zip(verdict.findings, run["results"], strict=True):
        rule = rules[result["ruleIndex"]]
        assert rule["id"] == result["ruleId"] == finding.code
        assert rule["help"]["text"] == finding.hint
        assert rule["defaultConfiguration"]["level"] == result["level"] == finding.severity
        assert result["partialFingerprints"] == {"findingId/v1": finding.id}


@pytest.mark.usefixtures("at_root")
@pytest.mark.parametrize("name", SMALL_TWINS)
def test_places_lie_in_files_as_they_are_on_disk(name: str) -> None:
    """Line, column and snippet agree with the text of the file that the URI names."""
    places = places_in(run_of(checked(twin(name)))["results"])
    assert places
    for place in places:
        uri = place["artifactLocation"]["uri"]
        assert not urlsplit(uri).scheme
        lines = (ROOT / unquote(uri)).read_text("utf-8").split("\n")
        region = place["region"]
        line = lines[region["startLine"] - 1]
        assert line == place["contextRegion"]["snippet"]["text"]
        marked = line[region["startColumn"] - 1 : region["endColumn"] - 1]
        assert marked == region["snippet"]["text"] != ""


@pytest.mark.usefixtures("at_root")
def test_the_planted_error_is_shown_at_its_line() -> None:
    """The receiver waits forever in the state `changing`, which the README shows."""
    result = run_of(checked("models/faulty/silent_plug.yaml"))["results"][0]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "models/starter/receiver.yaml"
    assert (place["region"]["startLine"], place["region"]["startColumn"]) == (10, 3)
    assert place["region"]["snippet"]["text"] == "changing"
    (step,) = result["codeFlows"][0]["threadFlows"][0]["locations"]
    cause = step["location"]["physicalLocation"]
    assert cause["artifactLocation"]["uri"] == "models/starter/device.yaml"
    assert "plug: {in: unplugged, signal: [plugged_in]" in cause["contextRegion"]["snippet"]["text"]


@pytest.mark.parametrize("name", SMALL_TWINS)
def test_a_scenario_is_a_code_flow(name: str) -> None:
    """As many steps, in order, each with a sentence and the states of all chips after it."""
    verdict = checked(twin(name))
    for finding, result in zip(verdict.findings, run_of(verdict)["results"], strict=True):
        assert ("codeFlows" in result) == (finding.trace is not None)
        if finding.trace is None or not finding.steps:
            continue
        steps = result["codeFlows"][0]["threadFlows"][0]["locations"]
        assert [step["executionOrder"] for step in steps] == [*range(1, finding.steps + 1)]
        assert all(step["location"]["message"]["text"] for step in steps)
        chips = {f"{chip}.state" for chip in verdict.device.chips}
        assert all(set(step.get("state", chips)) == chips for step in steps)


def test_what_is_accepted_is_suppressed_in_the_source(tmp_path: Path) -> None:
    """The acceptance is the place of the suppression; other results have an empty list."""
    run = run_of(checked_text(ODD, tmp_path))
    accepted = [result for result in run["results"] if result["suppressions"]]
    (result,) = accepted
    (suppression,) = result["suppressions"]
    assert result["ruleId"] == "broken-requirement"
    assert (suppression["kind"], suppression["status"]) == ("inSource", "accepted")
    assert suppression["justification"] == "we | live <with> it (until 2026-12-31)"
    line = suppression["location"]["physicalLocation"]["region"]["startLine"]
    assert "broken-requirement:never_dark" in ODD.split("\n")[line - 1]


def test_what_was_stopped_is_no_success() -> None:
    """The run says what is left open, and has no results that could pass for all."""
    (invocation,) = run_of(checked(str(MODELS / "starter" / "device.yaml"), FEW))["invocations"]
    assert invocation["executionSuccessful"] is False
    texts = [note["message"]["text"] for note in invocation["toolExecutionNotifications"]]
    assert texts[0] == "incomplete, stopped by the bound of 3 states"
    assert "the requirement note_ends is undecided" in texts


def test_the_files_are_named_with_their_digests() -> None:
    """A reader can tell whether it looks at the same text."""
    verdict = checked(twin("silent_plug"))
    artifacts = run_of(verdict)["artifacts"]
    assert [one["hashes"]["sha-256"] for one in artifacts] == [*verdict.device.digests.values()]


def test_files_are_uris(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Relative in the current folder, absolute outside, with odd letters in percent (RFC 3986)."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert file_uri("a b/c#d%é.yaml") == "a%20b/c%23d%25%C3%A9.yaml"
    assert file_uri(str(tmp_path / "here" / "x" / "y.yaml")) == "x/y.yaml"
    assert file_uri("../other.yaml") == f"{tmp_path.as_uri()}/other.yaml"
    assert file_uri("..data.yaml") == "..data.yaml"
    assert file_uri(os.fsdecode(b"ger\xe4t.yaml")) == "ger%E4t.yaml"
