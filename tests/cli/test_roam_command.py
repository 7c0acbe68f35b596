"""`modecheck roam` from outside: exit codes, the same output again, JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, run

TWIN = str(MODELS / "faulty" / "silent_plug.yaml")
STARTER = str(MODELS / "starter" / "device.yaml")
TANDEM = str(MODELS / "tandem" / "device.yaml")


def test_what_is_wrong_gives_exit_code_1_and_a_scenario() -> None:
    """As check does, and as it says it."""
    result = run("roam", TWIN, "--runs", "100")
    assert result.code == 1
    assert "deadlock:receiver.changing" in result.out
    assert "1 error seen" in result.out


def test_nothing_seen_proves_nothing() -> None:
    """Exit code 0, and no word of anything that holds or was found complete."""
    result = run("roam", STARTER, "--runs", "100")
    assert result.code == 0
    assert "nothing seen so far, which proves nothing" in result.out
    assert "not checked, since no finite run can show it" in result.out
    for word in ("holds", "nothing found", "complete"):
        assert word not in result.out.split("requirements")[0]
    assert "holds " not in result.out


def test_an_estimate_is_told_as_one() -> None:
    """Neither Chao's nor Good's figure bounds what a walk can reach, whose steps depend on each
    other; so neither is told as *at least*.
    """
    said = " ".join(run("roam", STARTER, "--runs", "5").out.split())
    assert "estimate: about " in said
    assert " states in all (Chao 1984), and about " in said
    assert "at least" not in said


@pytest.mark.parametrize(
    "arguments", [("--runs", "0"), ("--seconds", "-1"), ("--depth", "0"), ("--seed", "x")]
)
def test_wrong_options_give_exit_code_2(arguments: tuple[str, ...]) -> None:
    """Bounds that make no sense are refused."""
    assert run("roam", STARTER, *arguments).code == 2


def test_a_device_that_is_not_there_gives_exit_code_2() -> None:
    """As with every command."""
    assert run("roam", "nowhere.yaml", "--runs", "1").code == 2


def test_the_same_seed_tells_the_same_on_either_engine(tmp_path: Path) -> None:
    """Byte by byte, text and JSON; another seed tells something else."""
    told = []
    for number, (engine, seed) in enumerate(
        [("auto", "5"), ("compiled", "5"), ("plain", "5"), ("auto", "6")]
    ):
        file = tmp_path / f"{number}.json"
        options = ("--runs", "90", "--depth", "50", "--engine", engine, "--seed", seed)
        result = run("roam", TWIN, *options, "--json", str(file))
        told.append((result.out, file.read_text(encoding="utf-8")))
    assert told[0] == told[1] == told[2]
    assert told[3] != told[0]


def test_seconds_stop_it_after_a_round() -> None:
    """However short the time, one round is walked; what it saw is what so many runs see."""
    result = run("roam", STARTER, "--seconds", "0.00001")
    assert result.code == 0
    text = " ".join(result.out.split())
    assert "64 random runs" in text
    assert "stopped by the bound of 1e-05 s of work" in text
    again = " ".join(run("roam", STARTER, "--runs", "64").out.split())
    assert text.partition("requirements")[2] == again.partition("requirements")[2]


@pytest.mark.thorough
def test_seconds_and_a_seed_tell_the_same_again() -> None:
    """Byte by byte, though the walks of this device do not end by themselves so early."""
    options = ("--seconds", "0.3", "--seed", "3")
    once, again = (run("roam", TANDEM, *options).out for _ in range(2))
    assert "0.3 s of work" in " ".join(once.split())
    assert once == again


def test_json_tells_what_the_text_tells(tmp_path: Path) -> None:
    """Findings as in the JSON of check; coverage over time; what was left out."""
    file = tmp_path / "seen.json"
    run("roam", TWIN, "--runs", "100", "--json", str(file))
    data = json.loads(file.read_text(encoding="utf-8"))
    (deadlock,) = (one for one in data["findings"] if one["code"] == "deadlock")
    assert (deadlock["steps"], deadlock["shortest"]) == (1, True)
    assert deadlock["scenario"][0]["number"] == 1
    assert data["over_time"][-1]["runs"] == 100
    assert data["complete"] is False
    assert data["left_out"]
    assert {one["id"]: one["said"] for one in data["requirements"]}
