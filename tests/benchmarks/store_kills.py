"""Kill explorations into a store at random moments, and compare what they end with.

    python -m tests.benchmarks.store_kills [TIMES] [--seed N]

A device of 290,000 states, with steps that fail, is explored into a store by two processes. Each
time, at a random moment, a process that works or the one that gives out the work is killed, or the
latter is and a random file is cut off. What the same command finds in the end, begun again where
it was killed, must be what is found in memory: states, transitions, levels, coverage, findings with
their scenarios.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from modecheck.checks.verdict import explore_variant
from modecheck.engine.choice import Search
from modecheck.engine.store import small_levels
from modecheck.engine.store.store_explorer import StoreExplorer
from tests.engine.store.test_store import told
from tests.generation.devices import device_from

FEW = 1 << 10
"""States of a level that are left to one process; levels of this device would else be small."""
KINDS = ("a process that works", "the main process", "the main process, and a file is cut off")
KEPT = ("store.json", "lock", "product")
"""Files that are written once, at the beginning."""
WAITING = """
  waiting: {variables: {m: {range: [0, 0]}}, states: [s, t],
            rules: [{in: s, if: c0.n == 7 and c1.n > 3, to: t, do: m = m + c2.n}]}
"""


def text() -> str:
    counter = "{variables: {n: {range: [0, 7]}}, states: [s], rules: [{if: n < 7, do: n = n + 1}]}"
    chips = "\n".join(f"  c{number}: {counter}" for number in range(6))
    return f"device: six counters that end, and one that waits for them\nchips:\n{chips}{WAITING}"


def ordered(value: Any) -> str:
    """A value as text that is the same in each process: sets have no order."""
    if is_dataclass(value) and not isinstance(value, type):
        value = {field.name: getattr(value, field.name) for field in fields(value)}
    if isinstance(value, dict):
        return str(sorted((str(key), ordered(item)) for key, item in value.items()))
    return str(sorted(map(str, value)) if isinstance(value, set | frozenset) else value)


def found(search: Search) -> dict[str, Any]:
    """What is compared, as it is written as JSON."""
    one = explore_variant(device_from(text()), search=search)
    assert one.exploration.complete
    assert not one.reduced.not_asked
    agreed = told(one)
    findings = sorted(map(str, agreed.pop("findings")))
    result: dict[str, Any] = {key: ordered(value) for key, value in agreed.items()}
    return result | {"findings": findings, "states": one.exploration.state_count}


def begun(folder: str) -> subprocess.Popen[str]:
    program = [sys.executable, "-m", __spec__.name, "--explore", folder]
    return subprocess.Popen(program, stdout=subprocess.PIPE, text=True)


def children(process: int) -> list[int]:
    """The processes that one has started."""
    try:
        text_ = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii")
    except OSError:
        return []
    return list(map(int, text_.split()))


def works(process: int) -> bool:
    """Whether it is one that does tasks, and not the one that looks after what they share."""
    try:
        return b"spawn_main" in Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return False


def cut_a_file(folder: str, chance: random.Random) -> str:
    """Cut off a random file of a store somewhere; which one."""
    paths = sorted(
        path for path in Path(folder).rglob("*") if path.is_file() and path.stat().st_size
    )
    paths = [path for path in paths if path.name not in ("store.json", "lock", "product")]
    if not paths:
        return ""
    path = chance.choice(paths)
    os.truncate(path, chance.randrange(path.stat().st_size))
    return str(path.relative_to(folder))


def disturbed(kind: int, folder: str, most: float, chance: random.Random) -> tuple[str, str]:
    """Explore into a folder, disturbed once: what was disturbed, and what was found."""
    process, began = begun(folder), time.monotonic()
    moment = chance.uniform(0.2, 1.0) * most
    while time.monotonic() - began < moment and process.poll() is None:
        time.sleep(0.01)
    workers = [number for number in children(process.pid) if works(number)]
    while kind == 0 and not workers and process.poll() is None:
        time.sleep(0.01)
        workers = [number for number in children(process.pid) if works(number)]
    if kind == 0:
        if workers:
            os.kill(chance.choice(workers), signal.SIGKILL)
        output, _ = process.communicate()
        return f"{moment:.2f} s, one of {len(workers)}", output
    process.kill()
    process.communicate()
    left = time.monotonic()
    while any(map(works, workers)) and time.monotonic() - left < 10:
        time.sleep(0.1)
    notes = f"{moment:.2f} s, workers gone after {time.monotonic() - left:.1f} s"
    for number in filter(works, workers):
        os.kill(number, signal.SIGKILL)
        notes += ", killed"
    if kind == 2:
        notes += f", cut off: {cut_a_file(folder, chance) or 'none is there'}"
    output, _ = begun(folder).communicate()
    return notes, output


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("times", nargs="?", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--explore")
    given = parser.parse_args()
    if given.explore:
        small_levels.FEW = FEW
        setattr(StoreExplorer, "fits_memory", False)  # noqa: B010 - the files are to answer
        print(json.dumps(found(Search(store=given.explore, threads=2))))
        return
    expected = found(Search(engine="compiled", threads=1))
    chance = random.Random(given.seed)  # noqa: S311 - moments, not secrets
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        json.loads(begun(folder).communicate()[0])
        most = time.monotonic() - began
    for number in range(given.times):
        with tempfile.TemporaryDirectory() as folder:
            notes, output = disturbed(number % len(KINDS), folder, most, chance)
        result = json.loads(output) if output else {}
        same = result == expected
        wrong += not same
        what = "same" if same else "DIFFERENT"
        print(f"{number + 1:>3} {what}: {KINDS[number % len(KINDS)]} ({notes})", flush=True)
    print(f"{given.times} times, {expected['states']:,} states: {wrong} different")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
