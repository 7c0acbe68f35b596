"""How long it takes to compare two large systems, and how much memory.

    python -m tests.benchmarks.compare [COUNTERS [EQUIVALENCE [all]]]

Decimal counters side by side, six of them unless told otherwise: a million states and six million
transitions. Every other counter is seen when it comes to 5 and to 0; all else is silent, so there
are few classes. With `all` every counter is seen with its value, and each state is a class. The
second system is the first one with its states shuffled, or the first one with a transition more.
Aim: 60 seconds and 8 GiB for two systems of a million states on two cores. Figures of a busy
machine are worth little.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace

import numpy as np

from modecheck.compare.labelled import LabelledSystem
from modecheck.compare.refinement import Equivalence, classes_of, equivalent

BASE = 10


def counters(count: int, *, all_seen: bool = False) -> LabelledSystem:
    """Independent counters modulo ten."""
    states = np.arange(BASE**count, dtype=np.int32)
    names = ["", *(f"{number} {digit}" for number in range(count) for digit in range(BASE))]
    sources, labels, targets = [], [], []
    for number in range(count):
        unit = BASE**number
        digit = states // unit % BASE
        after = (digit + 1) % BASE
        seen = 1 + BASE * number + after
        if not all_seen:
            seen[(number % 2 == 1) | (after % 5 != 0)] = 0
        sources.append(states)
        labels.append(seen)
        targets.append(np.where(digit < BASE - 1, states + unit, states - (BASE - 1) * unit))
    columns = [np.concatenate(part).astype(np.int32) for part in (sources, labels, targets)]
    return LabelledSystem(states.size, 0, columns[0], columns[1], columns[2], tuple(names))


def shuffled(system: LabelledSystem) -> LabelledSystem:
    """The same system with its states in another order."""
    order = np.random.default_rng(1).permutation(system.count).astype(np.int32)
    return replace(
        system,
        initial=int(order[system.initial]),
        sources=order[system.sources],
        targets=order[system.targets],
    )


def with_one_more(system: LabelledSystem) -> LabelledSystem:
    """The same system, with one step from the last state to itself that is seen as the first."""
    last = np.array([system.count - 1], np.int32)
    return replace(
        system,
        sources=np.concatenate([system.sources, last]),
        labels=np.concatenate([system.labels, np.ones(1, np.int32)]),
        targets=np.concatenate([system.targets, last]),
    )


def main() -> None:
    system = counters(int(sys.argv[1]) if len(sys.argv) > 1 else 6, all_seen="all" in sys.argv)
    print(f"2 × {system.count:,} states, 2 × {system.transitions:,} transitions")
    for kind in map(Equivalence, sys.argv[2:3]) if sys.argv[2:] else Equivalence:
        classes_of(counters(1), kind)  # loads the kernels
        for name, other in (
            ("itself, shuffled", shuffled(system)),
            ("one step more", with_one_more(system)),
        ):
            began, worked = time.perf_counter(), time.process_time()
            answer = "equivalent" if equivalent(system, other, kind) else "different"
            seconds, worked = time.perf_counter() - began, time.process_time() - worked
            most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1 << 20)
            print(
                f"{kind.value:9}  {name:16}  {answer:10}  {seconds:6.1f} s "
                f"({worked:.1f} s of one core)  {most:.1f} GiB so far"
            )


if __name__ == "__main__":
    main()
