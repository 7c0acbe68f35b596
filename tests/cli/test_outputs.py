"""The files that check writes beside its text: whole, and in agreement with the exit code."""

from __future__ import annotations

import json
import os
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.cli.running import MODELS, Run, check, run_alone
from tests.cli.sample import BROKEN, SAMPLE, UNSOUND

FILES = ("--junit", "j.xml", "--sarif", "s.sarif", "--markdown", "m.md", "--json", "o.json")


def written(folder: Path, *arguments: str) -> Run:
    """Check the sample, with all files."""
    return check(SAMPLE, folder, *FILES, *arguments)


def test_a_finding_stands_in_every_file(tmp_path: Path) -> None:
    """At the line of the requirement that is broken."""
    assert written(tmp_path, *UNSOUND).code == 1
    sarif = json.loads((tmp_path / "s.sarif").read_text("utf-8"))
    (result,) = sarif["runs"][0]["results"]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "device.yaml"
    assert place["region"]["startLine"] == 18
    for name in ("j.xml", "m.md"):
        text = (tmp_path / name).read_text("utf-8")
        assert BROKEN.split(":")[0] in text
        assert "device.yaml:18:3" in text


def test_a_sound_device_has_no_finding_in_any_file(tmp_path: Path) -> None:
    """And no failure."""
    assert written(tmp_path).code == 0
    assert json.loads((tmp_path / "s.sarif").read_text("utf-8"))["runs"][0]["results"] == []
    top = ElementTree.parse(tmp_path / "j.xml").getroot()  # noqa: S314 - it is our own text
    assert (top.get("failures"), top.get("errors")) == ("0", "0")
    assert (tmp_path / "m.md").read_text("utf-8").startswith("## sample: nothing found\n")


def test_quiet_says_nothing_where_nothing_is_found(tmp_path: Path) -> None:
    """The files are written all the same."""
    assert written(tmp_path, "--quiet") == Run(0, "", "")
    assert (tmp_path / "m.md").exists()


@pytest.mark.parametrize("arguments", [UNSOUND, ("--max-states", "1")])
def test_quiet_is_complete_where_something_is_wrong(
    arguments: tuple[str, ...], tmp_path: Path
) -> None:
    """Findings, and what is incomplete, are told as ever."""
    quiet = check(SAMPLE, tmp_path, "--quiet", *arguments)
    assert quiet == check(SAMPLE, tmp_path, *arguments)
    assert quiet.code in (1, 3)
    assert quiet.out


@pytest.mark.parametrize("option", ["--junit", "--sarif", "--markdown"])
def test_a_wrong_input_writes_nothing(option: str, tmp_path: Path) -> None:
    """An old file is not replaced by half of a new one."""
    (tmp_path / "out").write_text("old", encoding="utf-8")
    assert check("device: d\n", tmp_path, option, "out").code == 2
    assert (tmp_path / "out").read_text(encoding="utf-8") == "old"
    assert sorted(os.listdir(tmp_path)) == ["device.yaml", "out"]


@pytest.mark.parametrize("option", ["--junit", "--sarif", "--markdown"])
def test_a_file_that_cannot_be_written_is_told_first(option: str, tmp_path: Path) -> None:
    """Exit code 2, before anything is explored, and before another file is written."""
    result = check(SAMPLE, tmp_path, option, "nowhere/out", "--json", "o.json")
    assert (result.code, result.out) == (2, "")
    assert "'nowhere/out' cannot be written" in result.err
    assert os.listdir(tmp_path) == ["device.yaml"]


def test_two_files_of_one_name_are_an_error(tmp_path: Path) -> None:
    """The second would replace the first."""
    result = check(SAMPLE, tmp_path, "--junit", "out", "--sarif", "./out")
    assert (result.code, result.out) == (2, "")
    assert "is given to both --junit and --sarif" in result.err
    assert os.listdir(tmp_path) == ["device.yaml"]


def test_files_are_the_same_each_time(tmp_path: Path) -> None:
    """Nothing in them depends on the run, so that what changes is the model."""
    twin = str(MODELS / "faulty" / "volatile_bond.yaml")
    for seed in ("1", "2"):
        (tmp_path / seed).mkdir()
        run_alone("check", twin, *FILES, folder=tmp_path / seed, env={"PYTHONHASHSEED": seed})
    for name in FILES[1::2]:
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()
