"""Zones beside digital clocks: how many there are, and how long they take.

    python -m tests.benchmarks.zones [fischer] [window] [matrices]

`fischer`: constants ten and a hundred times as large. `window`: a pairing window that grows from
30 ms to 30 s beside a poll of 1 ms. `matrices`: operations on zones a second, by the number of
clocks.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from typing import TypeVar

from modecheck.engine.contract.space import Limits
from modecheck.engine.search.exploration import explore
from modecheck.engine.zones import dbm
from modecheck.product.composition import compose
from tests.engine.zones.zone_graphs import explore_zones
from tests.generation.devices import device_from
from tests.generation.timed_examples import fischer, window_beside_poll

MOST_STATES = 200_000
SECONDS = 20
ROUNDS = 2000

Result = TypeVar("Result")


def timed(work: Callable[[], Result]) -> tuple[Result, float]:
    """What came of it, and how many seconds it took."""
    began = time.perf_counter()
    result = work()
    return result, time.perf_counter() - began


def both(name: str, text: str) -> None:
    """One line: states and seconds of the plain interpreter, zones and seconds."""
    product = compose(device_from(text))
    limits = Limits(states=MOST_STATES, seconds=SECONDS)
    digital, slow = timed(lambda: explore(product, limits=limits))
    zones, quick = timed(lambda: explore_zones(product, limits=limits))
    more = "" if digital.complete else "+"
    beyond = "+" if zones.stopped_by else ""
    print(
        f"{name:<34}{digital.state_count:>10,}{more:<1} states {slow:7.2f} s"
        f"{len(zones.nodes):>10,}{beyond:<1} zones {quick:7.2f} s"
    )


def fischers() -> None:
    for n in (2, 3, 4):
        for a, b in ((1, 2), (10, 20), (100, 200)):
            if n < 4 or a == 1:
                both(f"Fischer, n = {n}, a = {a}, b = {b}", fischer(n, a, b))


def windows() -> None:
    for window, asleep in (("30 ms", "60 ms"), ("300 ms", "600 ms"), ("30 s", "10 min")):
        both(f"window of {window}, dark after {asleep}", window_beside_poll(window, asleep))


def matrices() -> None:
    for clocks in (2, 4, 6, 8):
        n = clocks + 1
        zone = dbm.rearranged((dbm.ZERO,), 1, [(0, value) for value in range(clocks)])
        zone = dbm.later(zone, n)
        work: dict[str, Callable[[], object]] = {
            "bound": partial(dbm.between, zone, n, 1, 2, 9),
            "set": partial(dbm.rearranged, zone, n, [(0, 0)] * clocks),
            "include": partial(dbm.includes, zone, zone),
            "forget": partial(dbm.extrapolated, zone, n, (0,) * n),
        }
        rates = (f"{name} {ROUNDS / _seconds(each):,.0f}" for name, each in work.items())
        print(f"{clocks} clocks, a second: {', '.join(rates)}")


def _seconds(work: Callable[[], object]) -> float:
    """How long it takes to do something so many times."""
    began = time.perf_counter()
    for _ in range(ROUNDS):
        work()
    return time.perf_counter() - began


def main() -> None:
    parts = {
        "fischer": fischers,
        "window": windows,
        "matrices": matrices,
    }
    for name in sys.argv[1:] or parts:
        parts[name]()


if __name__ == "__main__":
    main()
