"""Many random devices: the plain interpreter beside the compiled engine and the second reading.

    python -m tests.benchmarks.agreement [--devices 300] [--processes 1] [--first 0]

Each device has a seed, from `--first` on; every third one has a clock, every seventh one copies of
a chip. What is compared is what the tests compare: states, transitions, layers, coverage, failing
steps. Devices with more states than
`MOST_STATES` are left out, and counted. Prints how many devices came to what deserves comparison,
and every disagreement with its seed; the exit status is 1 if there is any. `--device SEED` prints
the device of a seed instead.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

from modecheck.engine.choice import OPTIMISED_FROM, Search, explore_with
from modecheck.engine.contract.encounters import BLOCKED
from modecheck.engine.contract.kept_files import kernels_folder
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from tests.engine.native.test_agreement import assert_same_space
from tests.engine.test_second_reading import assert_same_in_both
from tests.generation.copied import rolled_copied
from tests.generation.devices import Drawn, rolled
from tests.second_reading.search import search

MOST_STATES = 300
"""Most devices are smaller; the second reading takes its time with the others."""
OPTIMISED_EVERY = 4
"""Of so many devices one is explored by optimised code, too."""
CHUNK = 20
"""Devices that one process takes at a time."""


@dataclass
class Compared:
    """What came of some devices: how many came to what, and what differed, by seed."""

    counts: Counter[str] = field(default_factory=Counter)
    disagreements: dict[int, str] = field(default_factory=dict)


def drawn_of(seed: int) -> Drawn:
    """The device of a seed."""
    if seed % 7 == 6:
        return rolled_copied(seed).short
    return rolled(seed, timed=seed % 3 == 0)


def features_of(plain: PlainExploration) -> Iterator[str]:
    """What a device came to."""
    yield from _kinds_of_links(plain)
    yield from _kinds_of_starts(plain)
    encounters = plain.observed.encounters
    if plain.product.time is not None:
        yield "clocks"
    if any(queue.when_full == "wait" for queue in plain.product.queues):
        yield "links that make their sender wait"
    if any(met.outcome == BLOCKED and met.queue >= 0 for met in encounters):
        yield "messages that wait for room"
    types = plain.product.signal_types
    if any(met.queue < 0 and types[met.event] and met.outcome >= 0 for met in encounters):
        yield "signals heard with a value"
    if any(chip.turn is not None for chip in plain.product.chips):
        yield "activities that may be held back"
    if any(code == "blocked-reaction" for code, _ in plain.failures):
        yield "blocked reactions"
    if plain.failures:
        yield "failing steps"
    if any(plain.product.rules[number].branch is not None for number in plain.observed.taken):
        yield "branches taken"


def _kinds_of_starts(plain: PlainExploration) -> Iterator[str]:
    if plain.product.starts:
        yield "several starts"
    if any(len(chip.restarts) > 1 for chip in plain.product.chips) and any(
        plain.product.labels[label].kind in ("power_cut", "reset", "cut_in_rule")
        for label in plain.graph.labels
    ):
        yield "restarts in several ways"


def _kinds_of_links(plain: PlainExploration) -> Iterator[str]:
    if any(queue.any_order for queue in plain.product.queues):
        yield "messages that may overtake each other"
    kinds = {plain.product.labels[label].kind for label in plain.graph.labels}
    if "corrupt" in kinds:
        yield "corruptions"
    if any(fault.row >= 0 for fault in plain.product.faults) and kinds & {"lose", "duplicate"}:
        yield "faults in a row"


def compare(seed: int, into: Compared) -> None:
    """All three on one device."""
    into.counts["devices"] += 1
    device = drawn_of(seed).read()
    plain = explore(compose(device), max_states=MOST_STATES)
    if not plain.complete:
        into.counts["larger, left out"] += 1
        return
    into.counts.update(features_of(plain))
    into.counts["copies of a chip"] += bool(device.copies)
    assert_same_in_both(plain, search(device, MOST_STATES))
    # The code for what may be large takes its time; it is part of a kernel of its own.
    for expected in (0,) if seed % OPTIMISED_EVERY else (0, OPTIMISED_FROM):
        how = Search(engine="compiled", threads=1, expected=expected)
        assert_same_space(plain, explore_with(plain.product, how))


def compared(seeds: range) -> Compared:
    """Some devices, one after the other."""
    found = Compared()
    for seed in seeds:
        try:
            compare(seed, found)
        except Exception:  # whatever goes wrong is what is looked for here
            found.disagreements[seed] = traceback.format_exc()
    return found


def all_compared(first: int, devices: int, processes: int) -> Compared:
    """All devices, by several processes; tells how far they are."""
    last = first + devices
    chunks = [range(one, min(one + CHUNK, last)) for one in range(first, last, CHUNK)]
    total = Compared()
    with ProcessPoolExecutor(processes) as pool:
        for part in pool.map(compared, chunks):
            total.counts += part.counts
            total.disagreements |= part.disagreements
            print(f"\r{total.counts['devices']:,} of {devices:,}", end="", file=sys.stderr)
    print(file=sys.stderr)
    return total


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--devices", type=int, default=300)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--device", type=int)
    asked = parser.parse_args()
    if asked.device is not None:
        print(drawn_of(asked.device))
        return 0
    # What is compiled once for all products is kept where it always is, the products' code is not.
    os.environ.setdefault("MODECHECK_KERNELS", str(kernels_folder()))
    with tempfile.TemporaryDirectory() as folder:
        os.environ["MODECHECK_CACHE"] = folder
        found = all_compared(asked.first, asked.devices, asked.processes)
    for what, count in found.counts.items():
        print(f"{count:>8,} {what}")
    for seed, report in sorted(found.disagreements.items()):
        print(f"\nseed {seed}\n{report}")
    print(f"{len(found.disagreements):>8,} disagreements")
    return 1 if found.disagreements else 0


if __name__ == "__main__":
    sys.exit(main())
