"""The command that tells numbers."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The command, from the top of the repository."""
    command = [sys.executable, "-m", "modecheck", "chances", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


def test_numbers_come_as_text_and_as_json(tmp_path: Path) -> None:
    """Fractions are whole in both."""
    file = tmp_path / "told.json"
    result = run("models/published/chances/craps.yaml", "--json", str(file))
    assert "244/495 = 0.492929" in result.stdout
    (told,) = json.loads(file.read_text(encoding="utf-8"))
    assert told["figures"][0]["fraction"] == "244/495"
    assert result.returncode == 0


def test_variants_stand_side_by_side_at_80_columns() -> None:
    """Polling and reporting in one table."""
    result = run("models/chances/pedal.yaml", "--every-option")
    assert "reporting=polled  reporting=by_itself" in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= 80


def test_a_bound_that_is_hit_is_incomplete() -> None:
    """And the exit code says so."""
    result = run("models/chances/pedal.yaml", "--max-states", "5")
    assert "incomplete" in result.stdout
    assert result.returncode == 3
