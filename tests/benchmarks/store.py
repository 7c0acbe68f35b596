"""How fast a product is explored into a store, beside memory, and what it takes on disk.

    python -m tests.benchmarks.store [NAME ...] [--threads N] [--memory GB] [--folder FOLDER]

For each product, explored by as many threads as processes, each time by a program of its own:
seconds of processor time (of all processes together) and of the clock, the ratio of the store to
memory, bytes a state on disk, and the most memory that all processes held at once (what they share
is counted once). Without names: octal-8 and clock-10000. octal-10 has 1.07 billion states, and is
not explored in memory where it would not fit.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from modecheck.engine.contract.memory import available_memory
from modecheck.engine.contract.space import Limits
from modecheck.engine.native.machine import compiled
from modecheck.engine.native.reach import reach
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from modecheck.engine.store.opening import explore_in_store
from modecheck.engine.store.pool import of_this_machine
from modecheck.engine.store.store_explorer import StoreExplorer
from tests.benchmarks.explore import WARM, counters, product_of

LOOK_EVERY = 0.3
"""Seconds between two looks at the memory of all processes."""
TELL_EVERY = 60
"""Seconds between two lines of what has been measured up to then."""
BYTES_IN_MEMORY = 24
"""Bytes that a state of one word takes in memory."""


def clock(ticks: int) -> str:
    """A tile that wakes up after so many ticks, beside one that turns for ever: a level has few
    states.
    """
    wakes_up = f"{{in: asleep, after: {ticks} ms, to: awake}}"
    turns = "{after: 2 ms, do: n = n + 1 if n < 3 else 0}"
    return (
        f"device: {ticks} ticks\nclock: {{tick: 1 ms}}\nchips:\n"
        f"  tile: {{states: [asleep, awake], rules: [{wakes_up}]}}\n"
        f"  turner: {{states: [s], variables: {{n: {{range: [0, 3]}}}}, rules: [{turns}]}}\n"
    )


def text_of(name: str) -> str:
    kind, _, count = name.partition("-")
    return counters(int(count)) if kind == "octal" else clock(int(count))


@dataclass(frozen=True, slots=True)
class Measured:
    """What one exploration took: seconds of processors and of the clock, the most bytes held,
    and the most that were on disk.
    """

    states: int
    transitions: int
    levels: int
    stopped_by: str
    cpu: float
    seconds: float
    memory: int = 0
    disk: int = 0


def processor_seconds() -> float:
    """Of this process, and of all that it has waited for."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def explored(name: str, threads: int, memory: int, folder: str) -> Measured:
    """One exploration in this process: into a folder, or in memory if there is none."""
    product = product_of(text_of(name))
    machine = compiled(product, system_actions(product))
    reach(machine, threads=threads, limits=WARM, reporter=Silent()).give_back()
    cpu, clock_ = processor_seconds(), time.monotonic()
    if folder:
        limits, workers = Limits(memory=memory), of_this_machine(threads)
        # The files for questions about paths are not measured here.
        with mock.patch.object(StoreExplorer, "_make_path_files"):
            space = explore_in_store(
                product,
                Path(folder),
                threads=threads,
                limits=limits,
                reporter=Silent(),
                workers=workers,
            )
        workers.close()
        result = space.state_count, space.transitions, len(space.layers), space.stopped_by
    else:
        found = reach(machine, threads=threads, limits=Limits(), reporter=Silent())
        result = found.states, found.transitions, len(found.layers), found.stopped_by
    return Measured(*result, processor_seconds() - cpu, time.monotonic() - clock_)


def held_by(process: int) -> int:
    """Bytes that a process and its descendants hold; pages that they share are divided."""
    held, numbers = 0, [process]
    while numbers:
        number = numbers.pop()
        try:
            text = Path(f"/proc/{number}/smaps_rollup").read_text(encoding="ascii")
            lines = [line.split() for line in text.splitlines()[1:]]
            held += sum(1024 * int(line[1]) for line in lines if line[0] == "Pss:")
            for task in Path(f"/proc/{number}/task").iterdir():
                numbers += map(int, (task / "children").read_text(encoding="ascii").split())
        except OSError:
            continue  # it has ended meanwhile
    return held


def size_of(folder: str) -> int:
    """Bytes of all files in a folder, as far as they are still there."""
    size = 0
    for path in Path(folder).rglob("*"):
        try:
            size += path.stat().st_size
        except OSError:
            continue
    return size


def measured(name: str, threads: int, memory: int, folder: str) -> Measured:
    """The same by a program of its own, whose memory is looked at meanwhile."""
    arguments = [sys.executable, "-m", __spec__.name, "--explore", name]
    how = [f"--threads={threads}", f"--memory={memory / 1e9}", f"--folder={folder}"]
    process = subprocess.Popen([*arguments, *how], stdout=subprocess.PIPE, text=True)
    most = disk = 0
    told = time.monotonic()
    while process.poll() is None:
        if time.monotonic() - told > TELL_EVERY:
            print(
                f"{most / 1e6:,.0f} MB held, {disk / 1e6:,.0f} on disk", file=sys.stderr, flush=True
            )
            told = time.monotonic()
        most = max(most, held_by(process.pid))
        disk = max(disk, size_of(folder)) if folder else 0
        time.sleep(LOOK_EVERY)
    assert process.stdout is not None
    return Measured(**json.loads(process.stdout.read()) | {"memory": most, "disk": disk})


def row(what: str, one: Measured, *notes: str) -> None:
    print(
        f"{what:<22}{one.states:>14,}{one.transitions:>15,}{one.levels:>8,}{one.cpu:>9.2f}"
        f"{one.seconds:>9.2f}{one.memory / 1e6:>9,.0f}  {', '.join(notes)}{one.stopped_by}",
        flush=True,
    )


def compare(name: str, threads: int, memory: int, place: str) -> None:
    """The lines of one product."""
    beside = None
    kind, _, count = name.partition("-")
    if kind != "octal" or BYTES_IN_MEMORY << 3 * int(count) < available_memory():
        beside = measured(name, threads, memory, "")
        row(f"{name} in memory", beside)
    with tempfile.TemporaryDirectory(dir=place) as folder:
        own = os.path.join(folder, "store")
        stored = measured(name, threads, memory, own)
        disk = size_of(own)
    notes = [
        f"{disk / 1e6:,.0f} MB on disk, {disk / stored.states:.2f} bytes a state, at most "
        f"{stored.disk / 1e6:,.0f} MB"
    ]
    if beside is not None:
        assert (beside.states, beside.transitions) == (stored.states, stored.transitions)
        notes.append(
            f"{beside.cpu / stored.cpu:.2f} of the rate by processor time, "
            f"{beside.seconds / stored.seconds:.2f} by the clock"
        )
    row(f"{name} in a store", stored, *notes)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*")
    parser.add_argument("--explore", help="one product, and print what was measured as JSON")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--memory", type=float, default=1.0, help="GB")
    parser.add_argument("--folder", default=None)
    given = parser.parse_args()
    memory = int(given.memory * 1e9)
    if given.explore:
        one = explored(given.explore, given.threads, memory, given.folder)
        print(json.dumps({name: getattr(one, name) for name in Measured.__dataclass_fields__}))
        return
    print(f"{given.threads} threads, at most {given.memory:g} GB; load {os.getloadavg()[0]:.1f}")
    print(
        f"{'':<22}{'states':>14}{'transitions':>15}{'levels':>8}{'cpu s':>9}{'s':>9}{'MB held':>9}"
    )
    for name in given.names or ["octal-8", "clock-10000"]:
        compare(name, given.threads, memory, given.folder)


if __name__ == "__main__":
    main()
