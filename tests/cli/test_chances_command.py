"""The command that tells numbers."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.running import MODELS, Run, run


def chances(model: str, *arguments: str) -> Run:
    """The command on a bundled model."""
    return run("chances", str(MODELS / model), *arguments)


def test_numbers_come_as_text_and_as_json(tmp_path: Path) -> None:
    """Fractions are whole in both."""
    file = tmp_path / "told.json"
    result = chances("published/chances/craps.yaml", "--json", str(file))
    assert "244/495 = 0.492929" in result.out
    (told,) = json.loads(file.read_text(encoding="utf-8"))
    assert told["figures"][0]["fraction"] == "244/495"
    assert result.code == 0


def test_variants_stand_side_by_side_at_80_columns() -> None:
    """Polling and reporting in one table."""
    result = chances("chances/pedal.yaml", "--every-option")
    assert "reporting=polled  reporting=by_itself" in result.out
    assert max(map(len, result.out.splitlines())) <= 80


WHICH_WAY = """
device: which way
chips:
  hub:
    states: {choosing: {}, cable: {}, radio: {}, heard: {rest: true}, lost: {rest: true}}
    rules:
      by_cable: {in: choosing, to: cable}
      by_radio: {in: choosing, to: radio}
      arrives: {in: cable, weight: 9, to: heard}
      breaks: {in: cable, weight: 1, to: lost}
      comes: {in: radio, weight: 1, to: heard}
      fades: {in: radio, weight: 3, to: lost}
chances:
  heard: {reach: hub.heard}
"""


def test_bounds_stand_beside_what_is_assumed(tmp_path: Path) -> None:
    """With both ends of each interval in the JSON; 23/40 is the mean of 9/10 and 1/4."""
    device, file = tmp_path / "device.yaml", tmp_path / "told.json"
    device.write_text(WHICH_WAY, encoding="utf-8")
    result = run("chances", str(device), "--bounds", "--json", str(file))
    rows = [line.split() for line in result.out.splitlines() if "chance" in line]
    assert rows[0] == ["heard:", "chance", "23/40", "=", "0.575"]
    assert rows[1] == ["heard:", "least", "chance", "0.25"]
    assert rows[2] == ["heard:", "greatest", "chance", "0.9"]
    (told,) = json.loads(file.read_text(encoding="utf-8"))
    low, high = told["figures"][2]["between"]
    assert low <= 0.9 <= high <= low + 1e-9
    assert result.code == 0


def test_a_bound_that_is_hit_is_incomplete() -> None:
    """And the exit code says so."""
    result = chances("chances/pedal.yaml", "--max-states", "5")
    assert "incomplete" in result.out
    assert result.code == 3


def test_a_device_without_questions_is_said_to_have_none(tmp_path: Path) -> None:
    """No empty table, and nothing about what was assumed for it."""
    device = tmp_path / "device.yaml"
    device.write_text(WHICH_WAY[: WHICH_WAY.index("chances:")], encoding="utf-8")
    result = run("chances", str(device))
    assert (result.code, result.err) == (0, "")
    assert "no questions under 'chances'" in " ".join(result.out.split())
    assert "value" not in result.out
