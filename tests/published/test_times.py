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
PUBLISHED = {17: (1, 2, 5, 10), 60: (5, 10, 20, 25)}
"""Minutes in all, and those of each walker."""


def everybody(place: str) -> str:
    return " and ".join(f"{who}.{place}" for who in (*WALKERS, "bridge"))


@pytest.mark.parametrize("minutes", PUBLISHED)
def test_the_best_time_across_the_bridge(minutes: int, tmp_path: Path) -> None:
    """From the near side to the far side, in modes and times laid over the bundled model."""
    over = tmp_path / "over.yaml"
    times_of_walkers = zip(WALKERS, PUBLISHED[minutes], strict=True)
    walkers = "".join(
        f"  {who}: {{with: {{time: {time} min}}}}\n" for who, time in times_of_walkers
    )
    over.write_text(
        f"modes:\n  near: {everybody('near')}\n  far: {everybody('far')}\nchips:\n{walkers}"
    )
    device = read_device("models/published/bridge_17.yaml", over=str(over))
    times = times_of(device, Search())
    across = next(one for one in times.timed if one.name == "near->far")
    assert across.best is not None
    assert across.best.ticks is not None
    assert across.best.ticks * times.tick == minutes * 60
