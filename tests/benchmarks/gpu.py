"""What a GPU brings: rates beside a program written by hand, whole checks, a device of two billion
states.

    python -m tests.benchmarks.gpu [NAME ...] [--repeats 3]

Prints, for each part that is named or for all: `octal`, counters modulo 8 beside hand-written CUDA
of the same algorithm in the same run; `tandem`, tandem with many faults, explored, and its whole
check beside that of the compiled engine; `large`, a device of 2^31 states, of which no transitions
are kept, and its whole check; `agree`, all bundled devices and random ones (`--devices`, 2,000)
compared with the compiled engine, array by array. Needs a CUDA device, and for the first part its
compiler for source text, which `cuda.core` finds.
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
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
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
from modecheck.engine.gpu.cuda_device import first_gpu, why_no_gpu
from modecheck.engine.gpu.explore_on_gpu import machine_of
from modecheck.engine.gpu.gpu_reach import FoundStates, GpuReach, states_that_fit
from modecheck.engine.search.exploration import Silent, explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.benchmarks.agreement import drawn_of
from tests.benchmarks.explore import TANDEM, counters, product_of
from tests.engine.gpu.test_exploring_on_gpu import assert_identical

BY_HAND = Path(__file__).with_name("octal_counters.cu")
DIGITS = (8, 9, 10)
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


def explored(product: Product) -> tuple[float, FoundStates]:
    """Seconds in which a product is explored, its code made before; and what was found."""
    reach = GpuReach(first_gpu(), machine_of(product, ()), Limits(), Silent())
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


def octal(repeats: int) -> None:
    """Rates of the engine beside those of the program written by hand, taking turns."""
    for digits in DIGITS:
        product = product_of(counters(digits))
        took, hand, size = [], [], 0.0
        for _ in range(repeats):
            seconds, found = explored(product)
            assert found.count == 8**digits
            took.append(seconds)
            size, slots = found.bytes / found.count, found.table.count
            found.give_back()
            seconds, count = by_hand(digits, slots)
            assert count == 8**digits
            hand.append(seconds)
        rate, other = (8**digits / min(times) / 1e6 for times in (took, hand))
        print(
            f"octal 8^{digits}: {rate:,.0f} M states/s, by hand {other:,.0f}, ratio "
            f"{rate / other:.2f} (wanted 0.9); {size:.1f} bytes a state are taken, "
            f"{bytes_when_full():.1f} when its room is full (wanted 20)"
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
    print(f"{name}: {took:.2f} s, {space.state_count:,} states, {space.transitions:,} transitions")
    for finding in verdict.findings:
        print(f"    {finding.id}, {finding.steps} steps")
    for judged in verdict.requirements:
        print(f"    {judged.need.name}: {judged.verdict}")
    print(f"    not asked: {', '.join(verdict.explored[0].reduced.not_asked) or 'nothing'}")
    for phase, part in sorted(seconds.items(), key=lambda item: -item[1])[:12]:
        print(f"    {part:8.2f} s {phase}")


def tandem(repeats: int) -> None:
    """Exploring, then the whole check without requirements on the GPU and on the processor."""
    text = TANDEM.format(folder=Path.cwd())
    product, times, found = product_of(text), [], None
    for _ in range(repeats):
        seconds, found = explored(product)
        times.append(seconds)
        count, transitions = found.count, found.transitions
        found.give_back()
    print(
        f"tandem with many faults: {count:,} states, {transitions:,} transitions in "
        f"{min(times):.4f} s: {count / min(times) / 1e6:,.0f} M states/s (wanted 600)"
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "device.yaml"
        path.write_text(text + "requirements: null\n", encoding="utf-8")
        verdicts = []
        for engine in (*ENGINES[::-1], *ENGINES[1:]):
            took, verdict, by_phase = checked(path, engine)
            _told(f"whole check, {engine} engine", took, verdict, by_phase)
            verdicts.append([(one.id, one.steps) for one in verdict.findings])
        assert verdicts[0] == verdicts[1] == verdicts[2]


def large(_repeats: int) -> None:
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


def agree(devices: int, processes: int) -> None:
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
        range(first, min(first + SEEDS_TOGETHER, devices))
        for first in range(0, devices, SEEDS_TOGETHER)
    ]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
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


PARTS: dict[str, Callable[[int], None]] = {"octal": octal, "tandem": tandem, "large": large}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("parts", nargs="*", default=[*PARTS, "agree"])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--devices", type=int, default=2_000)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    if why_no_gpu():
        print(f"no GPU: {why_no_gpu()}")
        return 2
    print(first_gpu().name)
    for name in asked.parts:
        began = time.perf_counter()
        if name == "agree":
            agree(asked.devices, asked.processes)
        else:
            PARTS[name](asked.repeats)
        print(f"({name} took {time.perf_counter() - began:.0f} s)", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
