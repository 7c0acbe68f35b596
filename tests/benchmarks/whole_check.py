"""What a whole check costs beside the exploration that it begins with, and what comes before it.

    python -m tests.benchmarks.whole_check [NAME ...]

Prints, for each part that is named or for all: `check`, the whole check of tandem with many faults
over its exploration, states and graph, in the same run; `memory`, bytes of a state of one word;
`once`, an `exactly_once` of a large device beside its observer's product; `first`, the first check
with an empty cache, beside the next one; `installed`, megabytes of the default installation;
`lines` of the engines and of the kernels of `compare`. Ratios can be compared from one machine to
another, if nothing else runs there; seconds cannot.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from importlib.metadata import Distribution, distribution
from pathlib import Path

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.memory import resident_memory
from modecheck.engine.contract.space import Limits
from modecheck.engine.native.machine import compiled
from modecheck.engine.native.reach import reach
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from tests.benchmarks.exactly_once import measured
from tests.benchmarks.explore import TANDEM, counters, product_of

ONE_NAME = re.compile(r"[A-Za-z0-9._-]+")
ONE_WORD = {"octal-8": counters(8), "tandem": TANDEM.format(folder=Path.cwd())}
SHORT = 0.65
"""Share of the memory that an exploration takes, with which it has to do."""
SOURCES = ("engine/**/*.py", "compare/*kernels.py")


def check(path: Path, *options: str, cache: str | None = None) -> float:
    """Seconds of a whole check, kept verdicts left aside."""
    command = [sys.executable, "-m", "modecheck", "check", str(path), "--no-cache", *options]
    environment = dict(os.environ, **({"XDG_CACHE_HOME": cache} if cache else {}))
    began = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    took = time.perf_counter() - began
    if done.returncode not in (0, 1):
        raise RuntimeError(done.stdout + done.stderr)
    return took


def exploration(text: str) -> tuple[float, int]:
    """Seconds to explore a device, states and graph, on all cores; and how many states it has."""
    product = product_of(text)
    compiled(product, system_actions(product))  # as the check finds it in the cache
    began = time.perf_counter()
    space = explore_with(product, Search(engine="compiled"))
    return time.perf_counter() - began, space.state_count


def whole(folder: Path) -> None:
    """The whole check of tandem with many faults over its exploration. Its requirements are left
    out: they are judged in products of their own, several times as large.
    """
    text = TANDEM.format(folder=Path.cwd()) + "requirements: null\n"
    explored, states = exploration(text)
    took = check(written(folder, text), "--engine", "compiled")
    print(
        f"check: tandem with many faults, {states:,} states: {took:.1f} s over {explored:.1f} s "
        f"of exploring on {os.cpu_count()} cores: ratio {took / explored:.2f} (wanted 1.8)"
    )


def memory(_folder: Path) -> None:
    """Bytes of a state of one word: where it was found, and its share of the table; where memory
    abounds, and where there may be `SHORT` of what was taken then.
    """
    for name, text in ONE_WORD.items():
        product = product_of(text)
        machine = compiled(product, system_actions(product))
        reached = reach(machine, threads=1, limits=Limits(), reporter=Silent())
        size, used = reached.used_bytes / reached.states, reached.used_bytes
        reached.give_back()
        limits = Limits(memory=resident_memory() + int(SHORT * used))
        reached = reach(machine, threads=1, limits=limits, reporter=Silent())
        print(
            f"memory: {name}, {product.bits} bits: {size:.1f} bytes a state, where memory is short "
            f"{reached.used_bytes / reached.states:.1f} (wanted 12), {reached.states:,} states "
            f"found, {reached.stopped_by or 'all'}"
        )
        reached.give_back()


def once(_folder: Path) -> None:
    """What one `exactly_once` takes, beside its observer's product."""
    print(f"once: {measured()}")


def first(_folder: Path) -> None:
    """The first check of tandem with an empty cache, and the next one, which makes no code."""
    with tempfile.TemporaryDirectory() as cache:
        device = Path("models/tandem/device.yaml")
        empty = check(device, cache=cache)
        warm = check(device, cache=cache)
    print(f"first: {empty:.1f} s with an empty cache, {warm:.1f} s then: {empty - warm:.1f} more")


def installed(_folder: Path) -> None:
    """Megabytes of all that the default installation brings along."""
    sizes = {one.name: size_of(one) / 1e6 for one in needed("modecheck", set())}
    largest = ", ".join(
        f"{name} {size:.0f}" for name, size in sorted(sizes.items(), key=lambda item: -item[1])[:3]
    )
    print(f"installed: {sum(sizes.values()):.0f} MB (wanted 280), of which {largest}")


def needed(name: str, seen: set[str]) -> Iterator[Distribution]:
    """A distribution and all that it needs without extras."""
    if name.lower() in seen:
        return
    seen.add(name.lower())
    one = distribution(name)
    yield one
    for requirement in one.requires or ():
        match = ONE_NAME.match(requirement)
        if match and ";" not in requirement:
            yield from needed(match[0], seen)


def size_of(one: Distribution) -> int:
    """Bytes of its files, as far as they are there."""
    files = [Path(str(file.locate())) for file in one.files or ()]
    return sum(file.stat().st_size for file in files if file.is_file())


def lines(_folder: Path) -> None:
    """Lines of the engines and of the kernels of `compare`."""
    files = [path for pattern in SOURCES for path in Path("modecheck").glob(pattern)]
    count = sum(len(path.read_text(encoding="utf-8").splitlines()) for path in files)
    print(f"lines: {count:,} in {len(files)} modules (wanted 14,500)")


def written(folder: Path, text: str) -> Path:
    path = folder / "device.yaml"
    path.write_text(text, encoding="utf-8")
    return path


PARTS: dict[str, Callable[[Path], None]] = {
    "check": whole,
    "memory": memory,
    "once": once,
    "first": first,
    "installed": installed,
    "lines": lines,
}


def main() -> None:
    """Measure the parts that are named, or all."""
    for name in sys.argv[1:] or PARTS:
        with tempfile.TemporaryDirectory() as folder:
            PARTS[name](Path(folder))


if __name__ == "__main__":
    main()
