"""The script and the jobs in the guide do what it says."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
import yaml

from modecheck.model.devices import read_device
from tests.cli.running import environment, run
from tests.documents import ROOT, examples
from tests.gate import command_in

(SCRIPT,) = examples("a script")
(SHOWN,) = examples("shown by the script")
JOBS = [example.text for example in examples("a job")]
TWINS = ("silent_plug", "volatile_bond", "usurpation", "unheard_of")
"""Faulty twins that are checked in no time."""


def test_the_script_shows_what_the_guide_shows() -> None:
    """Whoever copies it sees the same."""
    result = subprocess.run(
        [sys.executable, "-c", SCRIPT.text], cwd=ROOT, env=environment(), capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    assert result.stdout == SHOWN.text


(RULE,) = examples("a rule to try")
(TRIED,) = [example for example in examples("shown by") if example.said.startswith("check ")]


def test_the_rule_to_try_shows_what_the_guide_shows(tmp_path: Path) -> None:
    """Whoever lays it over the device sees the same."""
    (tmp_path / "FILE").write_text(RULE.text, encoding="utf-8")
    words = [str(ROOT / word) if word.endswith(".yaml") else word for word in TRIED.said.split()]
    assert run(*words, folder=tmp_path).out == TRIED.text


def test_there_are_jobs_for_two_kinds_of_hosts() -> None:
    """Both are YAML, and check in the same way."""
    assert len(JOBS) == 2
    assert all(isinstance(yaml.safe_load(job), dict) for job in JOBS)
    assert command_in(JOBS[0]) == command_in(JOBS[1])


@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize("name", TWINS)
def test_a_planted_error_fails_the_job(name: str, job: str, tmp_path: Path) -> None:
    """Exit code 1, with every finding in JUnit, SARIF and Markdown at its line."""
    shutil.copytree(ROOT / "models", tmp_path / "models")
    device = f"models/faulty/{name}.yaml"
    words = [device if word.endswith("device.yaml") else word for word in command_in(job)]
    assert device in words
    assert run(*words, folder=tmp_path).code == 1
    sarif = json.loads((tmp_path / "modecheck.sarif").read_text("utf-8"))
    results = sarif["runs"][0]["results"]
    found = {result["partialFingerprints"]["findingId/v1"]: result for result in results}
    assert {one.finding for one in read_device(str(ROOT / device)).expected} == set(found)
    junit = ElementTree.parse(tmp_path / "modecheck.xml")  # noqa: S314 - it is our own text
    failures = "".join(failure.text or "" for failure in junit.iter("failure"))
    markdown = (tmp_path / "modecheck.md").read_text("utf-8").replace("\\", "")
    for finding, result in found.items():
        place = result["locations"][0]["physicalLocation"]
        line, column = place["region"]["startLine"], place["region"]["startColumn"]
        at = f"{place['artifactLocation']['uri']}:{line}:{column}"
        for text in (failures, markdown):
            assert finding in text
            assert at in text
