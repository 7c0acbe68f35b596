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


def test_a_bound_that_is_hit_is_incomplete() -> None:
    """And the exit code says so."""
    result = chances("chances/pedal.yaml", "--max-states", "5")
    assert "incomplete" in result.out
    assert result.code == 3
