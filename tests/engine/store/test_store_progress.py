"""The line that tells how far exploring into a store has come."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.engine.contract.phases import current, phase
from modecheck.engine.store.store_progress import StoreProgress, trend


@pytest.mark.parametrize(
    ("layers", "said"),
    [
        ([1], "beginning"),
        ([10, 25], "growing ×2.5"),
        ([100, 101], "steady"),
        ([400, 500, 600, 300], "shrinking ×0.5"),
        ([800, 400, 200, 100], "shrinking ×0.5 (if it goes on so, 100 more)"),
        ([1000, 900, 450, 225], "shrinking ×0.5 (if it goes on so, 2,025 more)"),
    ],
)
def test_a_trend_claims_no_more_than_is_known(layers: list[int], said: str) -> None:
    """What is still to come is guessed from the slowest of several ratios, and only said to be."""
    assert trend(layers) == said


def test_the_rate_is_that_of_this_run(tmp_path: Path) -> None:
    """What was found before it does not count, and sizes are those of the files."""
    (tmp_path / "states").mkdir()
    (tmp_path / "states" / "one").write_bytes(bytes(3_000_000))
    progress = StoreProgress(tmp_path)
    with phase("exploring"):
        progress.tell([1, 5_000_000], 0, "merge 5/16", lambda: 4)
        assert current().note == (
            "level 2, 5.0 M states, 0/s, 3 MB, merge 5/16, 4 workers, growing ×5000000.0"
        )
    with phase("exploring"):
        StoreProgress(tmp_path).tell([1], 900, "", lambda: 4)
        assert current().note == "901 states, 0/s, small levels in memory"
