"""`modecheck follow` from outside: exit codes, what is told of a bad log, JSON."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests.cli.running import MODELS, Run, run

STARTER = str(MODELS / "starter" / "device.yaml")
GOOD = """\
time,chip,event,state,value
0.1,pedal,plugged_in,by_cable,
0.1,receiver,plugged_in,changing,
0.2,receiver,picture,on_cable,lifted
"""
HEARD_AGAIN = "0.4,receiver,picture,on_cable,lifted\n"


def follow(folder: Path, text: str | bytes, *arguments: str) -> Run:
    raw = text if isinstance(text, bytes) else text.encode()
    (folder / "log").write_bytes(raw)
    return run("follow", STARTER, "log", *arguments, folder=folder)


def test_a_log_that_agrees_gives_exit_code_0(tmp_path: Path) -> None:
    """And says how much was held against the model."""
    result = follow(tmp_path, GOOD)
    assert (result.code, result.err) == (0, "")
    assert "starter: agrees with the log" in result.out
    assert "3 lines; recorded: pedal and receiver" in result.out


def test_the_first_line_that_is_not_allowed_is_told(tmp_path: Path) -> None:
    """With its number in the file, blank lines counted, and what could have come there."""
    result = follow(tmp_path, GOOD + "\n" + HEARD_AGAIN * 2)
    assert (result.code, result.err) == (1, "")
    assert "does not allow line 6 of the log" in result.out
    assert "at log:6" in result.out
    assert "| 0.4,receiver,picture,on_cable,lifted" in result.out
    assert "- receiver: pulled_out → on_air" in result.out
    assert all(len(line) <= 80 for line in result.out.splitlines())


def test_json_tells_what_the_text_tells(tmp_path: Path) -> None:
    """The answer, the line, the lines that were allowed, and where each chip can be."""
    result = follow(tmp_path, GOOD + HEARD_AGAIN, "--json", "told.json")
    assert result.code == 1
    data = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    assert (data["answer"], data["complete"], data["lines"]) == ("disagrees", True, 4)
    assert data["refused"] == {
        "line": 5, "text": HEARD_AGAIN.strip(), "said": "receiver: picture(lifted) → on_cable",
    }  # fmt: skip
    step = {"chip": "pedal", "event": "step", "link": None, "value": None, "state": "by_cable"}
    assert step in data["allowed"]
    assert data["states"]["receiver"] == ["on_cable"]
    follow(tmp_path, GOOD, "--json", "told.json")
    data = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    assert (data["answer"], data["refused"], data["allowed"]) == ("agrees", None, [])


def test_json_lines_are_read(tmp_path: Path) -> None:
    """Values as JSON writes them; other keys are not read, null says nothing."""
    text = (
        '{"time": 1, "chip": "receiver", "event": "plugged_in", "rssi": {"dBm": -60}}\n'
        '{"time": "later", "chip": "receiver", "event": "picture via cord", "state": null}\n'
    )
    assert follow(tmp_path, text).code == 0
    assert follow(tmp_path, "\ufeff" + text.replace("\n", "\r\n")).code == 0
    assert follow(tmp_path, text.replace("cord", "air")).code == 1


def test_true_is_not_one(tmp_path: Path) -> None:
    """Also where the same line with the number was understood before."""
    (tmp_path / "device.yaml").write_text(
        "device: knob\nchips:\n  hub: {states: [here], rules: [{on: turn}]}\n"
        "actors: {hand: {states: [here], rules: {turn: {send: turn(1)}}}}\n"
        "links: {wire: {from: hand, to: hub, carries: {turn: {range: [0, 3]}}, when_full: wait}}\n",
        encoding="utf-8",
    )
    line = '{"time": 1, "chip": "hub", "event": "turn", "value": 1}\n'
    for text, code in ((line, 0), (line + line.replace("1}", "true}"), 2)):
        (tmp_path / "log").write_text(text, encoding="utf-8")
        result = run("follow", "device.yaml", "log", folder=tmp_path)
        assert result.code == code, result.err
    assert "turn cannot carry 'true'" in result.err


def test_recorded_chips_can_be_named(tmp_path: Path) -> None:
    """A chip that is recorded and silent has done nothing."""
    heard = "time,chip,event\n1,receiver,picture\n"
    assert follow(tmp_path, heard).code == 0
    assert follow(tmp_path, heard, "--recorded", "receiver, pedal").code == 1


def test_a_bound_that_is_hit_gives_exit_code_3(tmp_path: Path) -> None:
    """It is named, and the log is neither said to agree nor to disagree."""
    wrong = "time,chip,event,state\n1,receiver,picture,on_cable\n"
    assert follow(tmp_path, wrong).code == 1
    result = follow(tmp_path, wrong, "--explanations", "1")
    assert result.code == 3
    assert "incomplete" in result.out
    assert "--explanations" in result.out
    assert "the model would have allowed" not in result.out
    assert "the explanations that were followed allow" in " ".join(result.out.split())
    assert "by then, in an explanation that was followed," in " ".join(result.out.split())


def test_options_choose_the_variant(tmp_path: Path) -> None:
    """As with the other commands."""
    (tmp_path / "device.yaml").write_text(
        "device: lamp\noptions: {manner: [quick, slow]}\n"
        "chips: {lamp: {states: [dark, lit], rules:\n"
        "  [{in: dark, on: tap, if: manner == slow, to: lit}]}}\n"
        "actors: {hand: {states: [here], rules: {tap: {signal: [tap]}}}}\n",
        encoding="utf-8",
    )
    (tmp_path / "log").write_text("time,chip,event\n1,lamp,tap\n", encoding="utf-8")
    command = ("follow", "device.yaml", "log")
    assert run(*command, folder=tmp_path).code == 1
    assert run(*command, "--option", "manner=slow", folder=tmp_path).code == 0


HEAD = "time,chip,event,state,value\n"


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        (HEAD + "1,pedl,step,,\n", "2:3", "did you mean 'pedal'?"),
        (HEAD + "1,pedal,stp,,\n", "2:9", "did you mean 'step'?"),
        (HEAD + "1,pedal,step,by_cabel,\n", "2:14", "did you mean 'by_cable'?"),
        (HEAD + "1,receiver,picture,,presed\n", "2:21", "did you mean 'pressed'?"),
        (HEAD + "1,receiver,picture,,7\n", "2:21", "cannot carry '7'"),
        (HEAD + "1,pedal,step,,7\n", "2:15", "step carries no value"),
        (HEAD + "1,,step,,\n", "2:3", "the chip is missing"),
        (HEAD + "1,pedal,,,\n", "2:9", "the event is missing"),
        (HEAD + "1,pedal\n", "2:1", "2 fields, but the first line names 5 columns"),
        (HEAD + '1,"pedal,step\n', "2:3", "the quoting is invalid"),
        (HEAD + '"1,0",pedal,"stp",,\n', "2:13", "did you mean 'step'?"),
        ("time,chip,evnt\n1,pedal,step\n", "1:11", "did you mean 'event'?"),
        ("time,chip,event,stat\n", "1:17", "did you mean 'state'?"),
        ("time;chip;event\n", "1:1", "the column 'time' is missing"),
        ("time,chip,event,chip\n", "1:17", "two columns are named 'chip'"),
        (HEAD, "1:1", "the log has no lines"),
        ("", "1:1", "the log has no lines"),
        ('{"time": 1, "chip": "pedal", "event": "stp"}\n', "1:39", "did you mean 'step'?"),
        ('{"time": 1, "chip": "pedal", "evnt": "step"}\n', "1:30", "did you mean 'event'?"),
        ('{"time": 1, "chip": "pedal"}\n', "1:1", "the key 'event' is missing"),
        ('{"time": 1, "chip": 1.5, "event": "step"}\n', "1:21", "neither a word"),
        ('{"time": 1, "chip": ["a"], "event": "step"}\n', "1:21", "neither a word"),
        (
            '{"time": 1, "chip": {"a": []}, "event": "step"}\n',
            "1:21",
            "neither a word",
        ),
        ('{"time": 1, "chip": "pedal", "event": "step"} x\n', "1:47", "this is not JSON"),
        ('{"time": 1, "chip": "a", "chip": "b"}\n', "1:13", "occurs twice"),
        ('{"time": 1,\n', "1:12", "this is not JSON"),
        ('{"time": 1, "chip": "pedal", "event": "step"}\n[1]\n', "2:1", "not a JSON object"),
        ('{"a": ' + "[" * 30_000 + "\n", "1:1", "too large to read"),
        ('{"time": ' + "9" * 9000 + "}\n", "1:1", "too large to read"),
        (HEAD.encode() + b"1,p\xe9dal,step,,\n", "2:4", "this is not UTF-8 text"),
        ("x" * 100_000, "1:1", "the line is too long"),
        (bytes(range(256)), "1:", "the column 'time' is missing"),
    ],
)
def test_bad_lines_give_exit_code_2(
    text: str | bytes, place: str, told: str, tmp_path: Path
) -> None:
    """Each with its place, and the nearest name where there is one; nothing is written."""
    result = follow(tmp_path, text, "--json", "told.json")
    assert result.code == 2, result.out
    assert result.out == ""
    assert f"log:{place}" in result.err
    assert told in result.err
    assert "Traceback" not in result.err
    assert os.listdir(tmp_path) == ["log"]


def test_all_bad_lines_come_in_one_run(tmp_path: Path) -> None:
    """Up to a number that nobody mends in one go."""
    result = follow(tmp_path, HEAD + "1,pedl,step,,\n1,pedal,stp,,\n")
    assert "log:2:3" in result.err
    assert "log:3:9" in result.err
    assert "2 errors in the input" in result.err
    result = follow(tmp_path, HEAD + "1,pedl,step,,\n" * 1000)
    assert "more than 200 errors" in result.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((STARTER, "nowhere"), "there is no file 'nowhere'"),
        ((STARTER, "."), "is not a regular file"),
        (("nowhere.yaml", "log"), "there is no file 'nowhere.yaml'"),
        ((STARTER, "log", "--recorded", "pedl"), "did you mean 'pedal'?"),
        ((STARTER, "log", "--recorded", ","), "no recorded chip is given"),
        ((STARTER, "log", "--recorded", "receiver"), "not among the recorded chips"),
        ((STARTER, "log", "--explanations", "0"), "--explanations"),
        ((STARTER, "log", "--json", "nowhere/x"), "cannot be written"),
    ],
)
def test_what_cannot_be_done_gives_exit_code_2(
    arguments: tuple[str, ...], told: str, tmp_path: Path
) -> None:
    """As with every command."""
    (tmp_path / "log").write_text(GOOD, encoding="utf-8")
    result = run("follow", *arguments, folder=tmp_path)
    assert (result.code, result.out) == (2, "")
    assert told in result.err
    assert "Traceback" not in result.err
