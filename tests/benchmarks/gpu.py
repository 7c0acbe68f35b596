"""What a GPU brings: rates beside a program written by hand, whole checks, a device of two billion
states.

    python -m tests.benchmarks.gpu [NAME ...] [--repeats 3] [--digits 8 9 10] [--only-gpu]

Prints, for each part that is named or for all: `octal`, counters modulo 8 beside hand-written CUDA
of the same algorithm in the same run, with all room at once and with room that grows; `several`,
counters found by one device and by all; `tandem`, tandem with many faults, explored, and its whole
check beside that of the compiled engine (`--only-gpu` leaves that out); `large`, a device of 2^31
states, of which no transitions are kept, and its whole check; `agree`, all bundled devices and
random ones (`--devices`, 2,000) compared with the compiled engine, array by array. Needs a CUDA
device, and for the first part its compiler for source text, which `cuda.core` finds.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.engine.contract.phases import current
from modecheck.engine.contract.space import Limits
from modecheck.engine.gpu.cuda_device import CudaDevice, all_gpus, first_gpu, why_no_gpu
from modecheck.engine.gpu.explore_on_gpu import machine_of
from modecheck.engine.gpu.found_states import FoundStates, states_that_fit
from modecheck.engine.gpu.gpu_reach import SPREAD_FROM, GpuReach
from modecheck.engine.search.exploration import Silent, explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.benchmarks.agreement import drawn_of
from tests.benchmarks.explore import TANDEM, counters, product_of
from tests.engine.gpu.test_exploring_on_gpu import assert_identical

BY_HAND = Path(__file__).with_name("octal_counters.cu")
DIGITS = (8, 9, 10)
FEW_A_THREAD = 256
"""States for each thread for which there is room at first, where the table is to be small."""
GROWN = 4
"""Where room grows, it is there at first for this part of all states."""
LARGE = """\
  lamp: {{states: [dark, lit], rules: [{{in: dark, to: lit}}, {{in: lit, to: dark}}]}}
requirements:
  never_all_at_the_end: {{text: not all counters are at their end, never: {all}}}
  can_begin_again: {{text: all counters can be at their beginning, recoverable: {none}}}
"""
MOST_STATES = 2_000
"""Random devices with more states are left out, and counted."""
SEEDS_TOGETHER = 10
ENGINES: tuple[EngineName, ...] = ("compiled", "gpu")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command was asked for."""

    repeats: int
    digits: tuple[int, ...]
    only_gpu: bool
    devices: int
    processes: int


def explored(
    product: Product, devices: Sequence[CudaDevice] = (), **how: Any
) -> tuple[float, FoundStates]:
    """Seconds in which a product is explored, its code made before; and what was found. It is
    explored by the first device unless others are named; `how` is what `GpuReach` may be told.
    """
    machine = machine_of(product, ())
    reach = GpuReach(devices or [first_gpu()], machine, Limits(), Silent(), **how)
    began = time.perf_counter()
    found = reach.run()
    return time.perf_counter() - began, found


def bytes_when_full() -> float:
    """Bytes of a state of one word when there is no more room."""
    return 1e9 / states_that_fit(10**9, 1)


@cache
def _by_hand() -> Any:
    from cuda.core import Device, Program, ProgramOptions

    first_gpu()
    options = ProgramOptions(std="c++17", arch=f"sm_{Device().arch}")
    made = Program(BY_HAND.read_text(encoding="utf-8"), "c++", options).compile("cubin")
    return made.get_kernel("expand")


def by_hand(digits: int, slots: int) -> tuple[float, int]:
    """Seconds of the program written by hand, with a table of so many slots, and how many states it
    found.
    """
    from cuda.core import Device, LaunchConfig, launch

    gpu, kernel, count = first_gpu(), _by_hand(), 8**digits
    states, table = gpu.array(count, np.uint64), gpu.array(slots, np.uint64)
    found = gpu.array(1, np.uint64)
    gpu.write(found, np.ones(1, np.uint64))
    stream = Device().default_stream
    begin, end = 0, 1
    gpu.write(table, np.ones(1, np.uint64))  # 0 is the initial state, and its hash
    began = time.perf_counter()
    while begin < end:
        blocks = min(-(-(end - begin) // 128), gpu.processors * 16)
        words = (states.address, begin, end, table.address, slots, found.address)
        config = LaunchConfig(grid=blocks, block=128)
        launch(stream, config, kernel, *map(np.uint64, words), np.int32(digits))
        begin, end = end, int(gpu.read(found)[0])
    took = time.perf_counter() - began
    gpu.free(states, table, found)
    return took, end


def octal(asked: Asked) -> None:
    """Rates of the engine beside those of the program written by hand, taking turns."""
    for digits in asked.digits:
        for room in (None, 8**digits // GROWN):
            _beside_by_hand(digits, room, asked.repeats)


def _beside_by_hand(digits: int, room: int | None, repeats: int) -> None:
    product = product_of(counters(digits))
    took, hand, size = [], [], 0.0
    for _ in range(repeats):
        seconds, found = explored(product, room=room)
        assert found.count == 8**digits
        took.append(seconds)
        size, slots = found.bytes / found.count, found.rooms[0].table.count
        found.give_back()
        seconds, count = by_hand(digits, slots)
        assert count == 8**digits
        hand.append(seconds)
    rate, other = (8**digits / min(times) / 1e6 for times in (took, hand))
    how = "room as it is chosen" if room is None else f"room for {room:,} states at first"
    print(
        f"octal 8^{digits}, {how}: {rate:,.0f} M states/s, by hand {other:,.0f}, ratio "
        f"{rate / other:.2f} (wanted 0.9); {size:.1f} bytes a state are taken, "
        f"{bytes_when_full():.1f} when its room is full (wanted 20)",
        flush=True,
    )


def several(asked: Asked) -> None:
    """Seconds of one device and of all, which take turns. The first time makes code, too."""
    devices = all_gpus()
    hows: list[tuple[str, Sequence[CudaDevice], dict[str, int]]] = [
        ("1 device", devices[:1], {}),
        (f"{len(devices)} devices", devices, {"spread_from": SPREAD_FROM}),
        (f"{len(devices)} devices from 2^20 states on", devices, {"spread_from": 1 << 20}),
    ]
    for digits in asked.digits:
        product, best = product_of(counters(digits)), dict[str, float]()
        for _ in range(asked.repeats):
            for name, some, how in hows:
                seconds, found = explored(product, some, **how)
                assert found.count == 8**digits
                assert found.transitions == digits * 8**digits
                shares = [room.count / found.count for room in found.rooms]
                found.give_back()
                best[name] = min(seconds, best.get(name, seconds))
                print(f"    {seconds:.4f} s, {name}, shares {shares}", flush=True)
        reads = [one.can_read(two) for one in devices for two in devices if one is not two]
        print(f"    devices read each other's memory: {reads}")
        for name, seconds in best.items():
            gain = best[hows[0][0]] / seconds
            print(
                f"octal 8^{digits}, {name}: {seconds:.3f} s, {8**digits / seconds / 1e6:,.0f} M "
                f"states/s, {gain:.2f} times one device (wanted 1.6 of two, 8^10)",
                flush=True,
            )


@contextmanager
def phases() -> Iterator[dict[str, float]]:
    """Seconds of each phase inside, read off a few hundred times a second."""
    seconds: dict[str, float] = {}
    over = threading.Event()

    def look() -> None:
        before = time.perf_counter()
        while not over.wait(0.003):
            now = time.perf_counter()
            name = current().name
            seconds[name] = seconds.get(name, 0.0) + now - before
            before = now

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    yield seconds
    over.set()
    thread.join()


def checked(path: Path, engine: EngineName) -> tuple[float, Verdict, dict[str, float]]:
    """Seconds of a whole check with all scenarios told, the verdict, and seconds by phase."""
    with phases() as by_phase:
        began = time.perf_counter()
        verdict = check([read_device(str(path))], search=Search(engine=engine))
        # Steps are told when they are first read.
        told = [len(one.trace.steps) for one in verdict.findings if one.trace is not None]
        took = time.perf_counter() - began
    assert all(told)
    return took, verdict, by_phase


def _told(name: str, took: float, verdict: Verdict, seconds: dict[str, float]) -> None:
    space = verdict.explored[0].exploration
    print(
        f"{name}: {took:.2f} s, {space.state_count:,} states, {space.transitions:,} transitions",
        flush=True,
    )
    for finding in verdict.findings:
        print(f"    {finding.id}, {finding.steps} steps")
    for judged in verdict.requirements:
        print(f"    {judged.need.name}: {judged.verdict}")
    print(f"    not asked: {', '.join(verdict.explored[0].reduced.not_asked) or 'nothing'}")
    for phase, part in sorted(seconds.items(), key=lambda item: -item[1])[:12]:
        print(f"    {part:8.2f} s {phase}")


def tandem(asked: Asked) -> None:
    """Exploring with a large table and a small one, then the whole check without requirements on
    the GPU and on the processor.
    """
    text = TANDEM.format(folder=Path.cwd())
    product = product_of(text)
    for room in (None, first_gpu().threads * FEW_A_THREAD):
        times = []
        for _ in range(asked.repeats):
            seconds, found = explored(product, room=room)
            times.append(seconds)
            count, transitions, depth = found.count, found.transitions, len(found.layers)
            found.give_back()
        print(
            f"tandem with many faults, room {room or 'as it is chosen'}: {count:,} states in "
            f"{depth} levels, {transitions:,} transitions in {min(times):.4f} s: "
            f"{count / min(times) / 1e6:,.0f} M states/s (wanted 600)",
            flush=True,
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "device.yaml"
        path.write_text(text + "requirements: null\n", encoding="utf-8")
        verdicts = []
        engines = ENGINES[1:] * 3 if asked.only_gpu else (*ENGINES[::-1], *ENGINES[1:])
        for engine in engines:
            took, verdict, by_phase = checked(path, engine)
            _told(f"whole check, {engine} engine", took, verdict, by_phase)
            verdicts.append([(one.id, one.steps) for one in verdict.findings])
        assert verdicts == verdicts[:1] * len(engines)


def large(_: Asked) -> None:
    """A device of 2^31 states, of which no transitions are kept."""
    every = [f"c{number}.n" for number in range(10)]
    text = counters(10) + LARGE.format(
        all=" and ".join(f"{one} == 7" for one in every),
        none=" and ".join(f"{one} == 0" for one in every),
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "device.yaml"
        path.write_text(text, encoding="utf-8")
        took, verdict, seconds = checked(path, "gpu")
    _told("2^31 states, whole check", took, verdict, seconds)


def _compared(seeds: range) -> tuple[Counter[str], dict[int, str]]:
    counts: Counter[str] = Counter()
    wrong: dict[int, str] = {}
    for seed in seeds:
        counts["random devices"] += 1
        try:
            product = compose(drawn_of(seed).read())
            if not explore(product, max_states=MOST_STATES).complete:
                counts["larger, left out"] += 1
                continue
            assert_identical(product, first_gpu())
        except Exception:  # whatever goes wrong is what is looked for here
            wrong[seed] = traceback.format_exc()
    return counts, wrong


def _bundled(path: Path) -> str:
    """What differs in the verdict on a device; nothing if nothing does."""
    try:
        device = read_device(str(path))
        verdicts = [check([device], search=Search(engine=engine, threads=1)) for engine in ENGINES]
        told = [
            (
                [(one.id, one.steps, one.text) for one in verdict.findings],
                [(one.need.name, one.verdict) for one in verdict.requirements],
                verdict.explored[0].exploration.layers,
                verdict.explored[0].exploration.transitions,
            )
            for verdict in verdicts
        ]
        return "" if told[0] == told[1] else f"{path}: {told[0]} and {told[1]}"
    except Exception:  # as above
        return f"{path}: {traceback.format_exc()}"


def agree(asked: Asked) -> None:
    """Verdicts on all bundled devices, but of tandem, whose observers take long to compile, only
    what is explored; random devices array by array.
    """
    assert_identical(compose(read_device("models/tandem/device.yaml")), first_gpu())
    print("tandem is explored alike")
    paths = [
        path
        for folder in ("small", "faulty", "starter", "published")
        for path in sorted(Path("models", folder).glob("*.yaml"))
        if "device:" in path.read_text(encoding="utf-8")
    ]
    seeds = [
        range(first, min(first + SEEDS_TOGETHER, asked.devices))
        for first in range(0, asked.devices, SEEDS_TOGETHER)
    ]
    with ProcessPoolExecutor(asked.processes, mp_context=get_context("spawn")) as pool:
        bundled = [text for text in pool.map(_bundled, paths) if text]
        total: Counter[str] = Counter({"bundled devices": len(paths)})
        wrong: dict[int, str] = {}
        for counts, trouble in pool.map(_compared, seeds):
            total += counts
            wrong |= trouble
    for what, count in total.items():
        print(f"{count:>8,} {what}")
    print(f"{len(wrong) + len(bundled):>8,} disagreements")
    for text in (*bundled[:5], *list(wrong.values())[:5]):
        print(text)


PARTS: dict[str, Callable[[Asked], None]] = {
    "octal": octal, "several": several, "tandem": tandem, "large": large, "agree": agree
}  # fmt: skip


def _asked() -> tuple[list[str], Asked]:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("parts", nargs="*", default=list(PARTS))
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--digits", type=int, nargs="*", default=list(DIGITS))
    parser.add_argument("--only-gpu", action="store_true")
    parser.add_argument("--devices", type=int, default=2_000)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    own = parser.parse_args()
    return own.parts, Asked(
        own.repeats, tuple(own.digits), own.only_gpu, own.devices, own.processes
    )


def main() -> int:
    parts, asked = _asked()
    if why_no_gpu():
        print(f"no GPU: {why_no_gpu()}")
        return 2
    print(", ".join(one.name for one in all_gpus()))
    for name in parts:
        began = time.perf_counter()
        PARTS[name](asked)
        print(f"({name} took {time.perf_counter() - began:.0f} s)", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
