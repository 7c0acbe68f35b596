"""`--json`: valid, with the keys that scripts rely on, and written whole or not at all."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import MODELS, check, run, run_alone
from tests.cli.sample import BROKEN, SAMPLE, UNSOUND

COMMON = {
    "device", "file", "complete", "findings", "accepted", "remarks", "not_evaluated",
    "requirements", "notes",
}  # fmt: skip
FIGURES = {
    "options", "states", "transitions", "depth", "layers", "stopped_by", "bits_per_state",
    "modes", "time",
}  # fmt: skip
FINDING = {
    "id", "code", "subject", "severity", "file", "line", "column", "text", "details", "hint",
    "also", "variants", "steps", "scenario", "loop_from",
}  # fmt: skip
STEP = {"number", "label", "text", "changes", "states"}


def written(folder: Path, *arguments: str, text: str = SAMPLE) -> Any:
    """The JSON that checking a device writes."""
    check(text, folder, "--json", "out.json", *arguments)
    return json.loads((folder / "out.json").read_text(encoding="utf-8"))


def test_one_variant_has_its_figures_at_the_top(tmp_path: Path) -> None:
    """States, transitions and depth are those of the text."""
    found = written(tmp_path, *UNSOUND)
    assert set(found) >= COMMON | FIGURES
    assert (found["states"], found["transitions"], found["depth"]) == (2, 2, 1)
    assert (sum(found["layers"]), found["complete"], found["stopped_by"]) == (2, True, None)
    assert found["options"] == {"on_unplug": "fall_back", "brightness": "low"}
    assert set(found["modes"]["states"]) == {"wired", "radio"}


def test_several_variants_have_their_figures_each(tmp_path: Path) -> None:
    """Findings stand together, and say in which variants they were found."""
    found = written(tmp_path, "--every-option")
    assert set(found) >= COMMON | {"variants"}
    assert [set(one) >= FIGURES for one in found["variants"]] == [True] * 4
    (broken,) = found["findings"]
    assert broken["id"] == BROKEN
    assert len(broken["variants"]) == 2
    assert all("on_unplug=fall_back" in variant for variant in broken["variants"])


def test_a_finding_has_a_place_and_a_scenario(tmp_path: Path) -> None:
    """The id is code and subject; the scenario has as many steps as it says."""
    found = written(tmp_path, *UNSOUND)
    (broken,) = found["findings"]
    assert set(broken) >= FINDING
    assert f"{broken['code']}:{broken['subject']}" == broken["id"] == BROKEN
    assert (broken["file"], broken["line"], broken["steps"]) == ("device.yaml", 18, 1)
    (step,) = broken["scenario"]
    assert set(step) >= STEP
    assert "is pulled out" in step["text"]


def test_an_incomplete_run_says_so(tmp_path: Path) -> None:
    """A script must not take it for a proof."""
    found = written(tmp_path, "--max-states", "1")
    assert found["complete"] is False
    assert "1" in found["stopped_by"]


def test_a_wrong_input_writes_nothing(tmp_path: Path) -> None:
    """An old result is not replaced by half of a new one."""
    (tmp_path / "out.json").write_text("old", encoding="utf-8")
    assert check("device: d\n", tmp_path, "--json", "out.json").code == 2
    assert (tmp_path / "out.json").read_text(encoding="utf-8") == "old"
    assert sorted(os.listdir(tmp_path)) == ["device.yaml", "out.json"]


@pytest.mark.parametrize(
    "target", ["nowhere/out.json", ".", "device.yaml/out.json", "", "/dev/null/x"]
)
def test_a_file_that_cannot_be_written_is_told(target: str, tmp_path: Path) -> None:
    """Exit code 2, before anything is explored, and nothing is left behind."""
    result = check(SAMPLE, tmp_path, "--json", target)
    assert (result.code, result.out) == (2, "")
    assert f"{target!r} cannot be written" in result.err
    assert "expected" in result.err
    assert os.listdir(tmp_path) == ["device.yaml"]


def test_a_name_that_is_no_text_is_written_as_well_as_it_can_be(tmp_path: Path) -> None:
    """The JSON is UTF-8, whatever the device's file is called."""
    name = os.fsdecode(b"ger\xe4t.yaml")
    (tmp_path / name).write_text(SAMPLE, encoding="utf-8")
    assert run("check", name, "--json", "out.json", folder=tmp_path).code in (0, 1)
    assert json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))["device"] == "sample"
    assert len(os.listdir(tmp_path)) == 2


def test_the_result_is_the_same_each_time(tmp_path: Path) -> None:
    """Nothing in it depends on the run."""
    twin = str(MODELS / "faulty" / "volatile_bond.yaml")
    for seed in ("1", "2"):
        run_alone("check", twin, "--json", seed, folder=tmp_path, env={"PYTHONHASHSEED": seed})
    one, two = ((tmp_path / seed).read_bytes() for seed in ("1", "2"))
    assert one == two
    assert one.endswith(b"}\n")
