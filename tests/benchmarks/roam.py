"""How fast random walks go, in what memory, and how often they find what is wrong.

    python -m tests.benchmarks.roam [rates] [large] [twins]

`rates`: steps a second beside those of the plain walker. `large`: 60 seconds through products of
10^9 states and more. `twins`: each faulty twin with seeds 1 to 5, ten seconds each, or one second
where that is enough: what was found by then stays found.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from pathlib import Path

from modecheck.checks.roaming.finite_tests import (
    can_go_bad,
    composed,
    watch_list,
    without_idle_conditions,
)
from modecheck.checks.roaming.roam import Roaming, roam
from modecheck.engine.native.compiled_walks import CompiledWalker
from modecheck.engine.search.walking import PlainWalker
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from tests.checks.finite_runs import shown_by_finite_runs
from tests.models.bundled import TWINS

SECONDS = 60
TWIN_SECONDS = (1, 10)
COUNTERS = 10

WIDE_TANDEM = """\
device: tandem under very many faults
based_on: {folder}/models/tandem/device.yaml
faults:
  power_cut: {{chips: [hub, front_bridge, rear_bridge], at_most: 30}}
  reset: {{chips: [charger, laptop, tablet], at_most: 30}}
  lose: {{links: [front_air, rear_air, front_cord, rear_cord, usb_up, usb_down], at_most: 30}}
"""


def narrow_way(counters: int = COUNTERS) -> str:
    """Octal counters, for ten 8^10 states, and a lock that opens when each in turn is at 2, and
    closes when it looks at another time: the fault is three steps deep for each, here 30.
    """
    counter = (
        "{variables: {n: {range: [0, 7]}}, states: [s], rules: [{do: n = n + 1 if n < 7 else 0}]}"
    )
    chips = "".join(f"  c{number}: {counter}\n" for number in range(counters))
    states = ", ".join(f"stage_{number}: {{}}" for number in range(counters + 1))
    rules = ""
    for k in range(counters):
        rules += f"      - {{in: stage_{k}, if: c{k}.n == 2, to: stage_{k + 1}}}\n"
        if k:
            rules += f"      - {{in: stage_{k}, if: c{k}.n != 2, to: stage_0}}\n"
    return (
        f"device: octal counters and a narrow way\nchips:\n{chips}  lock:\n"
        f"    states: {{{states}}}\n    initial: stage_0\n    rules:\n{rules}"
        f"requirements:\n  never_through:\n    text: Nobody comes through\n"
        f"    never: lock.state == stage_{counters}\n"
    )


def device_of(text: str) -> Device:
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "device.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        return read_device(path)


def rates(name: str, device: Device) -> None:
    """Print steps a second of both walkers."""
    needs = [need.name for need in device.requirements.values() if can_go_bad(device, need)]
    product = composed(device, needs)
    product, watched = without_idle_conditions(product, watch_list(product))
    compiled = CompiledWalker(product, watched, seed=1, depth=400)
    plain = PlainWalker(product, watched, seed=1, depth=400)
    compiled.walk(64)
    figures = []
    for walker, runs in ((compiled, 4096), (plain, 16)):
        before, began = walker.tally.steps, time.perf_counter()
        walker.walk(runs)
        figures.append((walker.tally.steps - before) / (time.perf_counter() - began))
    print(
        f"{name}: {figures[0]:,.0f} steps/s, plain {figures[1]:,.0f}: "
        f"{figures[0] / figures[1]:,.0f} times as fast"
    )


def large(name: str, device: Device) -> None:
    """Print what a minute brings."""
    began = time.perf_counter()
    result = roam([device], Roaming(seconds=SECONDS))
    took = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    seen = result.seen
    print(
        f"{name}: {seen.steps / took:,.0f} steps/s over {took:.0f} s, "
        f"{'' if seen.estimate.exact else '~'}{seen.estimate.states:,} states, "
        f"{seen.estimate.unseen_share:.1%} new, {peak:.2f} GiB at the most (process)"
    )
    for finding in result.findings:
        print(f"  {finding.id}: {finding.steps} steps")


def twins() -> None:
    """Print how often each fault is found, and how long its scenarios are."""
    for path in TWINS:
        expected = shown_by_finite_runs(path)
        if not expected:
            continue
        found = [_steps_found(path, set(expected), seed) for seed in range(1, 6)]
        for id_, finding in expected.items():
            steps = [one.get(id_) for one in found]
            hits = sum(one is not None for one in steps)
            print(f"{path.stem} {id_}: {hits} of 5, {steps}, shortest {finding.steps}", flush=True)


def _steps_found(path: Path, expected: set[str], seed: int) -> dict[str, int | None]:
    """The lengths of the scenarios that one seed brings, by the ids of findings."""
    found: dict[str, int | None] = {}
    for seconds in TWIN_SECONDS:
        result = roam([read_device(str(path))], Roaming(seconds=seconds, seed=seed))
        found = {finding.id: finding.steps for finding in result.findings}
        if expected <= found.keys():
            break
    return found


def main() -> None:
    """Run the parts that are named, or all."""
    wanted = sys.argv[1:] or ["rates", "large", "twins"]
    devices = {
        "narrow way": device_of(narrow_way()),
        "tandem": device_of(WIDE_TANDEM.format(folder=os.getcwd())),
    }
    if "rates" in wanted:
        for name, device in devices.items():
            rates(name, device)
    if "large" in wanted:
        for name, device in devices.items():
            large(name, device)
    if "twins" in wanted:
        twins()


if __name__ == "__main__":
    main()
