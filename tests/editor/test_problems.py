"""Errors of reading and findings, at the places where an editor shows them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from modecheck.editor import workspace as workspace_module
from modecheck.editor.bounded_check import CheckOutcome, Request, as_json, from_json, outcome_of
from modecheck.editor.diagnostics import INFORMATION, Problem, problems_found, read_with_problems
from modecheck.editor.moving import moved
from modecheck.editor.positions import TextSpan
from modecheck.editor.workspace import Workspace, uri_of
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from tests.editor.texts import MODELS, TANDEM

SILENT = MODELS / "faulty" / "silent_plug.yaml"
FEW = 1000, 60.0
"""Bounds that the small devices here do not reach."""


def read(path: Path, *, opened: dict[Path, str] | None = None) -> tuple[Workspace, list[Problem]]:
    workspace = Workspace()
    for own, text in (opened or {}).items():
        workspace.put(uri_of(str(own)), text)
    return workspace, list(read_with_problems(workspace, workspace.held(), str(path)).problems)


def test_an_error_is_where_it_is_and_says_what_was_expected(tmp_path: Path) -> None:
    """As on the command line, but for the place and the excerpt."""
    path = tmp_path / "device.yaml"
    text = "device: é🎸\nchips: {a: {states: [x]}}\nmodes: {m: a.state == y}\n"
    workspace, problems = read(path, opened={path: text})
    (one,) = problems
    assert text[one.span.start : one.span.end] == "y"
    assert one.message == "a has no state 'y'; expected 'x'"
    assert workspace.map_of(str(path)).position(one.span.start).line == 2


def test_every_error_of_every_file_is_shown(tmp_path: Path) -> None:
    """In the file where it is, of text that is not saved: there are no such files."""
    device, chip = tmp_path / "device.yaml", tmp_path / "chip.yaml"
    texts = {
        device: "device: x\nchips: {a: {file: chip.yaml}}\nmodes: {m: b.state == y}\n",
        chip: "chip: c\nstates: [p]\nrules: [{in: q, to: p}]\n",
    }
    _, problems = read(device, opened=texts)
    found = {
        (Path(one.path).name, texts[Path(one.path)][one.span.start : one.span.end])
        for one in problems
    }
    assert found == {("device.yaml", "b"), ("chip.yaml", "q")}


@pytest.mark.parametrize(
    "text",
    [
        "device: x\nbased_on: device.yaml\n",
        "device: [",
        "device: \x00",
        "device: x\nchips: {a: {file: gone.yaml}}\n",
        "device: x\n" + "[" * 99,
        "device: \ud800",
        "- a\n- device: x\n",
        "device: x\nbased_on: {a: b}\n",
    ],
)
def test_a_text_that_cannot_be_read_has_a_problem(tmp_path: Path, text: str) -> None:
    """A cycle of files, half a bracket, what is no text: each is reported, and nothing fails."""
    path = tmp_path / "device.yaml"
    _, problems = read(path, opened={path: text})
    assert problems
    assert all(one.span.end <= len(text) for one in problems)


def test_errors_are_those_of_the_command_line(tmp_path: Path) -> None:
    """The same reader finds them, in the file as in the open text."""
    path = tmp_path / "device.yaml"
    text = (
        TANDEM.joinpath("device.yaml").read_text(encoding="utf-8").replace("hub.state", "hab.state")
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InvalidInput) as wrong:
        read_device(str(path))
    for opened in ({}, {path: text}):
        _, problems = read(path, opened=opened)
        assert [one.message.partition(";")[0] for one in problems] == [
            e.message for e in wrong.value.errors
        ]


@pytest.fixture(scope="module")
def silent() -> CheckOutcome:
    """What a check finds in a faulty twin of the starter, without what it expects to be found."""
    text = SILENT.read_text(encoding="utf-8").partition("expect:")[0]
    return outcome_of(Request(str(SILENT), {str(SILENT): text}, *FEW))


def test_findings_are_at_their_cause_with_their_scenario(silent: CheckOutcome) -> None:
    """Each step of it is a related place, in the order in which they happen."""
    problems = {one.code: one for one in problems_found(Workspace(), silent)}
    assert set(problems) == {"deadlock", "broken-requirement"}
    deadlock = problems["deadlock"]
    text = Path(deadlock.path).read_text(encoding="utf-8")
    assert text[deadlock.span.start : deadlock.span.end] == "changing"
    assert deadlock.subject == "deadlock:receiver.changing"
    assert [one.message[:25] for one in deadlock.related] == ["1. the player plugs the c"]
    assert len(problems["broken-requirement"].related) == 4


def test_a_check_that_hit_a_bound_says_so() -> None:
    """Where the device is named; what it has found so far is shown all the same."""
    path = MODELS / "published" / "eight_puzzle.yaml"
    outcome = outcome_of(Request(str(path), {}, 500, 60.0))
    first = problems_found(Workspace(), outcome)[0]
    assert outcome.stopped_by == "the bound of 500 states"
    assert first.severity == INFORMATION
    assert first.message.startswith("incomplete: checked ")
    assert 0 in next(iter(outcome.depths.values())).values()


def test_an_outcome_survives_the_way_between_processes(silent: CheckOutcome) -> None:
    """As JSON, with every place and every step."""
    assert from_json(as_json(silent)) == silent
    assert from_json(as_json(replace(silent, path="\ud800é"))) == replace(silent, path="\ud800é")


def test_a_count_of_a_rule_is_that_of_its_transitions(silent: CheckOutcome) -> None:
    """Of rules that a label names; those that a signal triggers are only known to be taken."""
    assert sum(count for count in silent.taken["player"].values()) <= silent.transitions
    assert silent.taken["pedal"]["plug"] == -1
    assert silent.answers["receiver"]["plugged_in"]["on_air"] == "goes to changing"


@pytest.mark.parametrize(
    ("old", "new", "span", "now"),
    [
        ("abc def", "abc x def", TextSpan(4, 7), TextSpan(6, 9)),
        ("abc def", "ab def", TextSpan(3, 6), TextSpan(2, 5)),
        ("abc", "abc", TextSpan(1, 2), TextSpan(1, 2)),
        ("abc", "", TextSpan(1, 2), TextSpan(0, 0)),
        ("aaa", "aa", TextSpan(0, 1), TextSpan(0, 1)),
    ],
)
def test_a_problem_stays_with_its_words(old: str, new: str, span: TextSpan, now: TextSpan) -> None:
    """Until the next check is done, it moves with what is written before it."""
    assert moved(span, old, new) == now


def test_parsed_texts_are_forgotten_by_their_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large file that is edited all day leaves no more behind than a small one."""
    monkeypatch.setattr(workspace_module, "MOST_PARSED", 300)
    workspace, path = Workspace(), tmp_path / "device.yaml"
    for number in range(20):
        workspace.put(uri_of(str(path)), f"device: x\nchips: {{a: {{states: [p]}}}}  # {number}\n")
        read_with_problems(workspace, workspace.held(), str(path))
    kept = [text for _, text in workspace.held().trees]
    assert f"# {number}\n" in kept[-1]
    assert 200 < sum(map(len, kept)) <= 300
