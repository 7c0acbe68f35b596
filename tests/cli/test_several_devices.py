"""Several devices in one check: a report each, files that hold all, the worst exit code."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.cli.running import MODELS, run

SOUND = str(MODELS / "starter" / "device.yaml")
FAULTY = str(MODELS / "faulty" / "silent_plug.yaml")
LARGE = str(MODELS / "published" / "shift_register_8.yaml")
BOUND = ("--max-states", "17")
"""Enough for the starter, and for neither of the others."""


def test_each_device_is_reported_in_turn_and_then_all_in_short() -> None:
    """As it would be alone."""
    result = run("check", SOUND, FAULTY)
    alone = [run("check", one).out for one in (SOUND, FAULTY)]
    summary = f"\nwith findings: {FAULTY}\nnothing found: {SOUND}\n"
    assert result.out == f"{alone[0]}\n{alone[1]}{summary}"
    assert result.code == 1


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ((SOUND, SOUND), 0),
        ((SOUND, LARGE, *BOUND), 3),
        ((LARGE, FAULTY, "--max-states", "100"), 1),
    ],
)
def test_the_exit_code_is_the_worst_of_all(arguments: tuple[str, ...], code: int) -> None:
    """Findings of one device count more than an incomplete other one."""
    assert run("check", *arguments).code == code


def test_each_file_holds_all_devices(tmp_path: Path) -> None:
    """With one device, it holds what it always held."""
    names = {name: tmp_path / f"out.{name}" for name in ("json", "junit", "sarif", "markdown")}
    options = [part for name, path in names.items() for part in (f"--{name}", str(path))]
    assert run("check", SOUND, FAULTY, *options).code == 1
    found = json.loads(names["json"].read_text("utf-8"))["devices"]
    assert [(one["device"], len(one["findings"])) for one in found] == [
        ("starter", 0), ("starter, but plugging sends no picture", 2),
    ]  # fmt: skip
    top = ElementTree.fromstring(names["junit"].read_text("utf-8"))  # noqa: S314 - our own text
    suites = [suite.attrib["name"] for suite in top]
    assert suites[:2] == ["starter.requirements", "starter.findings"]
    assert len(suites) == 4
    assert int(top.attrib["tests"]) == sum(int(suite.attrib["tests"]) for suite in top)
    runs = json.loads(names["sarif"].read_text("utf-8"))["runs"]
    assert [len(one["results"]) for one in runs] == [0, 2]
    page = names["markdown"].read_text("utf-8")
    assert page.index("## starter: nothing found") < page.index("## starter, but plugging")
    assert run("check", FAULTY, "--json", str(tmp_path / "one.json")).code == 1
    alone = json.loads((tmp_path / "one.json").read_text("utf-8"))
    assert {**alone, "requirements": []} == {**found[1], "requirements": []}  # they tell seconds


def test_errors_of_all_files_are_reported_together_before_anything_else(tmp_path: Path) -> None:
    """And no file is written."""
    target = tmp_path / "out.json"
    result = run("check", SOUND, "no_such.yaml", "nor_this.yaml", "--json", str(target))
    assert (result.code, result.out) == (2, "")
    assert "'no_such.yaml'" in result.err
    assert "'nor_this.yaml'" in result.err
    assert "2 errors in the input" in result.err
    assert not target.exists()


def test_an_overlay_is_laid_over_each(tmp_path: Path) -> None:
    """And quiet shows only those with something to show."""
    over = tmp_path / "over.yaml"
    over.write_text("requirements: {silent: {text: Silent, never: receiver.sounding}}\n", "utf-8")
    target = tmp_path / "out.json"
    result = run("check", SOUND, FAULTY, "--with", str(over), "--json", str(target))
    assert result.code == 1
    assert result.out.count("broken-requirement:silent") == 2
    assert [one["trial"]["new"] for one in json.loads(target.read_text("utf-8"))["devices"]] == [
        ["broken-requirement:silent"], ["broken-requirement:silent"],
    ]  # fmt: skip
    quiet = run("check", SOUND, FAULTY, "--quiet")
    assert quiet.out.startswith("starter, but plugging sends no picture: 2 errors")
    assert run("check", SOUND, SOUND, "--quiet").out == ""
