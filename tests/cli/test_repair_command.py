"""`modecheck repair DEVICE`: its report, its files, its exit codes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import MODELS, Run, run, run_alone

TWIN = str(MODELS / "faulty" / "queue_exhausted.yaml")
FINDING = "overflow:air.note"
HOPELESS = """\
device: hopeless
chips:
  lamp: {states: {lit: {rest: true}}, rules: {blink: {on: go}}}
actors: {player: {states: [here], rules: {go: {signal: [go]}}}}
requirements:
  dark: {text: The lamp can be off, possible: not lamp.lit}
"""


@dataclass(frozen=True, slots=True)
class Written:
    """A run that wrote everything."""

    done: Run
    folder: Path
    data: dict[str, Any]
    markdown: str


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    at = tmp_path_factory.mktemp("repairs")
    files = {name: str(at / name) for name in ("json", "markdown", "to")}
    options = [word for name, file in files.items() for word in (f"--{name}", file)]
    done = run("repair", TWIN, FINDING, "--most", "3", *options)
    data = json.loads((at / "json").read_text(encoding="utf-8"))
    return Written(done, at / "to", data, (at / "markdown").read_text(encoding="utf-8"))


def test_every_repair_is_clean_when_it_is_checked_again(written: Written) -> None:
    """From its files, laid over the device and as a device of its own; once in a process of its
    own, which knows nothing of the search.
    """
    assert (written.done.code, written.done.err) == (0, "")
    files = sorted(path.name for path in written.folder.iterdir())
    assert files == [f"{kind}_{n}.yaml" for kind in ("device", "repair") for n in (1, 2, 3)]
    for n in (2, 3):
        assert run("check", str(written.folder / f"device_{n}.yaml"), "--no-cache").code == 0
    assert run_alone("check", str(written.folder / "device_1.yaml"), "--no-cache").code == 0
    over = run("check", TWIN, "--with", str(written.folder / "repair_1.yaml"), "--no-cache")
    assert over.code == 0
    assert FINDING in over.out.partition("fixed\n")[2]


def test_the_json_says_what_the_report_says(written: Written) -> None:
    """And has the file of each repair as data; nothing is ever called correct."""
    data, out = written.data, written.done.out
    assert data["to_repair"] == [FINDING]
    best = data["repairs"][0]
    assert best["overlay"] == {"links": {"air": {"capacity": 2}}}
    assert f"1. {best['sentence']}" in out
    assert data["complete"]
    assert best["sentence"] in written.markdown
    assert sum(data["tried"]["outcomes"].values()) == data["tried"]["single_changes"]
    assert "correct" not in out + str(data)


def test_the_report_is_eighty_columns_wide(written: Written) -> None:
    """But for lines of a file, which are not wrapped."""
    lines = written.done.out.splitlines()
    assert [line for line in lines if len(line) > 80 and not line.startswith("  |")] == []


def test_a_device_without_findings_has_nothing_to_repair() -> None:
    """That is no failure."""
    done = run("repair", str(MODELS / "small" / "credits.yaml"))
    assert (done.code, done.err) == (0, "")
    assert "nothing to repair" in done.out


def test_where_none_is_found_it_says_what_was_tried(tmp_path: Path) -> None:
    """How many candidates, and of which kinds."""
    path = tmp_path / "device.yaml"
    path.write_text(HOPELESS, encoding="utf-8")
    done = run("repair", str(path))
    assert done.code == 1
    assert "no repair found" in done.out
    assert "kinds of changes: " in done.out


def test_a_device_that_is_not_explored_completely_is_not_repaired() -> None:
    """Nothing is claimed of it, above all not that there is nothing to repair."""
    stopped = run("repair", TWIN, "--max-states", "3")
    assert stopped.code == 3
    assert "incomplete: stopped by the bound of 3 states" in stopped.out


def test_an_unknown_finding_is_an_error() -> None:
    """With the nearest one that the device has."""
    done = run("repair", TWIN, "overflow:air.notes")
    assert done.code == 2
    assert "did you mean 'overflow:air.note'?" in done.err
    assert done.out == ""


def test_a_folder_that_exists_is_not_overwritten(tmp_path: Path) -> None:
    """It is an error before anything is explored."""
    done = run("repair", TWIN, "--to", str(tmp_path))
    assert done.code == 2
    assert list(tmp_path.iterdir()) == []
