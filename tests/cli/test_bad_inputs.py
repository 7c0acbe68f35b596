"""Bad inputs through the real command line: exit code 2, no traceback, every error at its place.

The cases stand in bad_inputs.txt, which explains itself.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli.running import Run, check

HEAD = re.compile(r"^(\S+):(\d+):(\d+): (.+)$", re.MULTILINE)


def around(rule: str) -> str:
    """A device with the rule of its hub in line 6."""
    return f"""\
device: sample
chips:
  hub:
    states: {{idle: {{rest: true}}, linked: {{}}}}
    variables: {{retries: {{range: [0, 3]}}, ready: bool}}
    rules: [{rule}]
  tile: {{states: {{alone: {{rest: true}}, joined: {{}}}}, rules: [{{signal: ping, send: hello}}]}}
links: {{up: {{from: tile, to: hub, carries: [hello], when_full: drop_new}}}}
"""


@dataclass(frozen=True, slots=True)
class Case:
    """Files that are wrong; `told` has a place for each error, with fragments of the message."""

    name: str
    files: dict[str, str]
    told: dict[str, list[str]]


def read_case(text: str) -> Case:
    """A case of bad_inputs.txt."""
    name, *sections = re.split(r"^-- ?(?=\S)(?!-)", text, flags=re.MULTILINE)
    parts = dict(section.split("\n", 1) for section in sections)
    told = {}
    for line in parts.pop("told").split("\n"):
        place, *fragments = line.split(" | ")
        if place:
            told[place] = fragments
    if "rule" in parts:
        parts["device.yaml"] = around(parts.pop("rule").strip()) + parts.pop("appended", "")
    return Case(name.strip(), parts, told)


TABLE = (Path(__file__).parent / "bad_inputs.txt").read_text(encoding="utf-8")
CASES = [read_case(text) for text in re.split(r"^== ", TABLE, flags=re.MULTILINE)[1:]]


def told_by(run: Run) -> dict[str, str]:
    """What was told, by its place; the name of the device file is left out."""
    told: dict[str, str] = {}
    for block in run.err.split("\n\n")[:-1]:
        head = HEAD.match(block)
        assert head, run.err
        place = f"{head[1]}:{head[2]}:{head[3]}".removeprefix("device.yaml:")
        told[place] = told.get(place, "") + block
    return told


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_a_bad_input_is_told(case: Case, tmp_path: Path) -> None:
    """Exit code 2, all errors in one run, each with its place, its line and what was expected."""
    for name, text in case.files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    run = check(case.files["device.yaml"], tmp_path)
    assert (run.code, run.out) == (2, ""), run.err
    assert "Traceback" not in run.err
    told = told_by(run)
    assert told.keys() == case.told.keys()
    for place, fragments in case.told.items():
        assert [fragment for fragment in fragments if fragment not in told[place]] == []


def marked(block: str) -> str:
    """The characters under which the mark stands."""
    _, line, mark = block.splitlines()[:3]
    return line[mark.index("▔") : mark.rindex("▔") + 1]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (around("{if: redy, to: lnked, in: idel}"), ["redy", "lnked", "idel"]),
        ("device: d\ndevice: e\nchips: {hub: {states: [s]}}\n", ["device"]),
        ("device: d\nchips: {hub: {file: nowhere.yaml}}\n", ["nowhere.yaml"]),
    ],
)
def test_the_mark_stands_under_what_is_wrong(text: str, words: list[str], tmp_path: Path) -> None:
    """As a person would underline it."""
    run = check(text, tmp_path)
    assert [marked(block) for block in told_by(run).values()] == words
    assert run.err.splitlines()[-1] == f"{len(words)} error{'s' * (len(words) > 1)} in the input"
