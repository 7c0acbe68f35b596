"""Best times against a published figure: the bridge at night.

Rote, Crossing the bridge at night, Bulletin of the EATCS 78 (2002), from memory: walkers of 1, 2, 5
and 10 minutes are across in 17 minutes at best. The one of 5, 10, 20 and 25 minutes, across in 60,
is a puzzle of unknown origin, also from memory.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.checks.device_time_bounds import times_of
from modecheck.engine.choice import Search
from modecheck.model.devices import read_device

WALKERS = ("first", "second", "third", "fourth")


def everybody(place: str) -> str:
    return " and ".join(f"{who}.{place}" for who in (*WALKERS, "bridge"))


@pytest.mark.parametrize("minutes", [17, 60])
def test_the_best_time_across_the_bridge(minutes: int, tmp_path: Path) -> None:
    """From the near side to the far side, in modes laid over the bundled model."""
    over = tmp_path / "modes.yaml"
    over.write_text(f"modes:\n  near: {everybody('near')}\n  far: {everybody('far')}\n")
    device = read_device(f"models/published/bridge_{minutes}.yaml", over=str(over))
    times = times_of(device, Search())
    across = next(one for one in times.timed if one.name == "near->far")
    assert across.best is not None
    assert across.best.ticks is not None
    assert across.best.ticks * times.tick == minutes * 60
