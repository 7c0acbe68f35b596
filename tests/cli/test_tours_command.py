"""`modecheck tours` from outside: exit codes, what is written, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, run

STARTER = str(MODELS / "starter" / "device.yaml")
TANDEM = str(MODELS / "tandem" / "device.yaml")
RESTLESS = """\
device: a lamp that blinks for ever
chips:
  lamp:
    states: {lit: {}, dark: {}}
    rules: {dims: {in: lit, after: 1 s, to: dark}, shines: {in: dark, after: 1 s, to: lit}}
actors: {hand: {states: [here], rules: {waves: {signal: [wave]}}}}
"""


def test_a_checklist_has_a_box_for_each_step(tmp_path: Path) -> None:
    """On the terminal, in Markdown and as data alike, the start included; nothing is too wide."""
    page, data = tmp_path / "list.md", tmp_path / "list.json"
    result = run("tours", STARTER, "--markdown", str(page), "--json", str(data))
    assert result.code == 0
    assert max(map(len, result.out.splitlines())) <= 80
    written = json.loads(data.read_text(encoding="utf-8"))
    (test,) = written["tests"]
    (sequence,) = test["sequences"]
    assert (test["steps"], test["cost"], test["shortest"]) == (8, 8, True)
    assert result.out.count("[ ]") == page.read_text(encoding="utf-8").count("- [ ]") == 9
    assert [step["number"] for step in sequence] == list(range(9))
    text = " ".join(result.out.split())
    for step in sequence:
        assert f"[ ] {step['number']}. {step['do']}" in text
        assert "; ".join(step["see"]["changed"]) in text
    assert written["complete"]


def test_the_options_chosen_are_named() -> None:
    """A test is of one variant of the device."""
    result = run("tours", TANDEM, "--chip", "charger", "--option", "on_unplug=fall_back")
    assert result.out.startswith("tandem with on_unplug=fall_back: rules")


def test_the_same_twice() -> None:
    """Nothing depends on the run."""
    assert run("tours", STARTER).out == run("tours", STARTER).out


def test_rules_of_chips(tmp_path: Path) -> None:
    """Every rule of the chips named is among those that the steps take."""
    data = tmp_path / "rules.json"
    options = ("--chip", "pedal", "--chip", "receiver", "--json", str(data))
    assert run("tours", STARTER, *options).code == 0
    tests = json.loads(data.read_text(encoding="utf-8"))["tests"]
    steps = [step for t in tests for sequence in t["sequences"] for step in sequence]
    taken = {name for step in steps for name in step["takes"] if not name.startswith("player")}
    assert len(taken) == 10


def test_words_of_a_chip(tmp_path: Path) -> None:
    """W, and words with their answers; a chip that has none says why, and gives exit code 3."""
    data, page = tmp_path / "words.json", tmp_path / "words.md"
    options = ("--distinguish", "--json", str(data), "--markdown", str(page))
    result = run("tours", STARTER, *options)
    assert result.code == 3
    pedal, receiver = json.loads(data.read_text(encoding="utf-8"))["chips"]
    assert pedal["told_apart_by"] == [["plugged_in"], ["pulled_out"]]
    assert "has no answer to picture" in receiver["why_not"][0]
    exchanges = sum(map(len, pedal["words"]))
    assert result.out.count("[ ]") == page.read_text(encoding="utf-8").count("- [ ]") == exchanges
    assert run("tours", STARTER, "--distinguish", "--chip", "pedal").code == 0


def test_words_for_a_chip_with_more_states(tmp_path: Path) -> None:
    """Far more words, and the output says what they expose; too many are refused with a number."""
    data = tmp_path / "words.json"
    options = ("tours", STARTER, "--distinguish", "--chip", "pedal")
    result = run(*options, "--extra", "1", "--json", str(data))
    assert result.code == 0
    assert "at most 1 state more than the model" in " ".join(result.out.split())
    chip = json.loads(data.read_text(encoding="utf-8"))["chips"][0]
    assert chip["extra"] == 1
    assert len(chip["words"]) > 3 * (run(*options).out.count("\nword ") + 1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("modecheck.tours.chip_words.MOST_MADE", 100)
        result = run(*options, "--extra", "3")
    assert result.code == 3
    assert "it would need far more than 5,000 words" in " ".join(result.out.split())


def test_a_bound_gives_exit_code_3() -> None:
    """And the word incomplete."""
    result = run("tours", TANDEM, "--max-states", "200")
    assert result.code == 3
    assert "incomplete: stopped by the bound of 200 states" in result.out
    assert "no shorter test exists" not in result.out


def test_a_device_that_never_settles_gives_exit_code_3(tmp_path: Path) -> None:
    """There is nothing to tick off then."""
    (tmp_path / "lamp.yaml").write_text(RESTLESS, encoding="utf-8")
    result = run("tours", "lamp.yaml", folder=tmp_path)
    assert result.code == 3
    assert "the device never settles after power-on" in result.out


@pytest.mark.thorough
def test_closed_and_patience_are_heard() -> None:
    """A closed tour of tandem is no shorter than an open one; patience makes waiting an action."""
    result = run("tours", TANDEM, "--closed", "--patience", "5s")
    assert result.code == 0
    assert "wait 10 min: front_bridge falls asleep" in " ".join(result.out.split())
    assert "wait " not in run("tours", TANDEM, "--chip", "front_switch").out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--chip", "pedl"), "did you mean 'pedal'?"),
        (("--chip", "player"), "expected one of pedal, receiver"),
        (("--patience", "soon"), "is not a duration"),
        (("--closed", "--chip", "pedal"), "--closed cannot be combined"),
        (("--distinguish", "--patience", "5s"), "--patience cannot be combined"),
        (("--extra", "1"), "--extra needs --distinguish"),
        (("--option", "colour=red"), "colour"),
        (("--markdown", "nowhere/list.md"), "cannot be written"),
    ],
)
def test_wrong_input_gives_exit_code_2(options: tuple[str, ...], told: str, tmp_path: Path) -> None:
    """What was wrong is said, without a traceback, and nothing is written."""
    data = tmp_path / "out.json"
    result = run("tours", STARTER, "--json", str(data), *options, folder=tmp_path)
    assert result.code == 2
    assert told in result.err
    assert "Traceback" not in result.err
    assert list(tmp_path.iterdir()) == []
