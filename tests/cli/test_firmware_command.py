"""`modecheck firmware` on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, run
from tests.firmware.made import needs_compiler

STARTER = str(MODELS / "starter" / "device.yaml")
TWIN = str(MODELS / "faulty" / "note_blocked.yaml")


def test_files_are_written_and_then_up_to_date(tmp_path: Path) -> None:
    """What is written says from what it was made; a change to it is noticed."""
    folder = str(tmp_path / "c")
    assert run("firmware", STARTER, "--chip", "receiver", "--to", folder).code == 0
    files = sorted(path.name for path in (tmp_path / "c").iterdir())
    assert files == ["receiver.c", "receiver.h"]
    head = (tmp_path / "c" / "receiver.h").read_text()
    assert "receiver of starter, by modecheck" in head
    assert "Checked: 16 states, complete" in head
    assert run("firmware", STARTER, "--chip", "receiver", "--to", folder, "--check").code == 0
    (tmp_path / "c" / "receiver.h").write_text(head + "\n")
    stale = run("firmware", STARTER, "--chip", "receiver", "--to", folder, "--check")
    assert stale.code == 1
    assert "receiver.h" in stale.out
    assert "receiver.c" not in stale.out


def test_a_header_alone_has_the_gap_table(tmp_path: Path) -> None:
    """For teams that keep their own code."""
    done = run("firmware", STARTER, "--chip", "receiver", "--to", str(tmp_path), "--header-only")
    assert done.code == 0
    text = (tmp_path / "receiver_tables.h").read_text()
    assert "RECEIVER_CANNOT_ARRIVE" in text
    assert "static const uint8_t receiver_answers[3][4]" in text


def test_no_two_chips_are_written_to_one_file(tmp_path: Path) -> None:
    """On a disk that does not tell large letters from small ones, one would be lost."""
    path = tmp_path / "device.yaml"
    path.write_text(
        "device: two\nchips: {hub: {states: {a: {rest: true}}}, Hub: {states: {a: {rest: true}}}}\n"
    )
    refused = run("firmware", str(path), "--to", str(tmp_path / "c"))
    assert refused.code == 2
    assert "device.yaml:2:43: Hub and hub would both be written to Hub.h" in refused.err
    assert run("firmware", str(path), "--chip", "Hub", "--to", str(tmp_path / "c")).code == 0


ONE_PROGRAM = """\
device: one program
chips:
  hub: {runs_on: mcu, states: {a: {rest: true}}}
  hub_timer: {runs_on: mcu, states: {a: {rest: true}}}
"""


def test_chips_of_one_controller_have_no_name_in_common(tmp_path: Path) -> None:
    """Their code is one program: hub_timer_t is the type of a hub's timers, and that of a chip."""
    path, folder = tmp_path / "device.yaml", str(tmp_path / "c")
    path.write_text(ONE_PROGRAM)
    refused = run("firmware", str(path), "--to", folder)
    assert refused.code == 2
    assert "device.yaml:4:3: hub_timer_t would be in the code of hub_timer and in" in refused.err
    path.write_text(ONE_PROGRAM.replace("runs_on: mcu, ", ""))
    assert run("firmware", str(path), "--to", folder).code == 0


def test_findings_forbid_code(tmp_path: Path) -> None:
    """Unless the user insists; the header then says so."""
    refused = run("firmware", TWIN, "--to", str(tmp_path / "c"))
    assert refused.code == 1
    assert "nothing is written" in refused.out
    assert not (tmp_path / "c").exists()
    assert run("firmware", TWIN, "--to", str(tmp_path / "c"), "--even-with-findings").code == 0
    head = next((tmp_path / "c").glob("*.h")).read_text()
    assert "NOT CLEAN: findings that are not accepted:" in head


@needs_compiler
def test_the_proof_is_counted(tmp_path: Path) -> None:
    """On the terminal and as JSON."""
    path = tmp_path / "proof.json"
    done = run("firmware", STARTER, "--prove", "--json", str(path))
    assert done.code == 0
    assert "code and model compared" in done.out
    proven = json.loads(path.read_text())["proven"]
    assert [one["chip"] for one in proven] == ["pedal", "receiver"]
    assert all(one["holds"] and one["walks"] == 1000 for one in proven)
    assert proven[1]["cases"]["messages"] == 12


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--chip", "reciever", "--to", "c"], "did you mean 'receiver'?"),
        (["--chip", "player", "--to", "c"], "is an actor, which runs no firmware"),
        ([], "nothing to do"),
        (["--check"], "give --to DIR"),
        (["--header-only", "--prove"], "no code that could be proven"),
    ],
)
def test_what_cannot_be_done_is_said(arguments: list[str], said: str, tmp_path: Path) -> None:
    """In a sentence, with exit code 2, and nothing is written."""
    done = run("firmware", STARTER, *arguments, folder=tmp_path)
    assert done.code == 2
    assert said in done.err
    assert list(tmp_path.iterdir()) == []


def test_without_a_compiler_nothing_is_proven(tmp_path: Path) -> None:
    """An input error that says what is missing."""
    done = run("firmware", STARTER, "--prove", env={"PATH": str(tmp_path), "CC": ""})
    assert done.code == 2
    assert "there is no C compiler to prove the code with" in done.err


@pytest.mark.thorough
def test_a_chip_of_ten_thousand_states_is_an_error_with_its_place(tmp_path: Path) -> None:
    """Before anything takes long, and nothing is written."""
    states = "".join(f"      s{number}: {{rest: true}}\n" for number in range(10_000))
    text = f"device: large\nchips:\n  counter:\n    states:\n{states}"
    text += "    rules: [{in: s0, on: tick, to: s1}]\n"
    text += "actors: {world: {states: [here], rules: [{signal: tick}]}}\n"
    (tmp_path / "large.yaml").write_text(text, encoding="utf-8")
    done = run("firmware", "large.yaml", "--to", "c", folder=tmp_path)
    assert (done.code, done.out) == (2, "")
    assert "large.yaml:3:3: counter has 10,000 states" in done.err
    assert "at most 2,000 states" in done.err
    assert not (tmp_path / "c").exists()
