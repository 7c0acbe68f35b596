"""What more threads bring: rates, efficiency, and where the threads' time goes.

    python -m tests.benchmarks.threads [octal-8 octal-9 tandem ...] [--most 16]

For each product and 1, 2, 4, 8, 16 threads (as many as there are cores, or `--most`): states a
second, the efficiency beside one thread, and the shares of all threads' time that go into expanding
states, into growing the table, and into waiting for each other and into Python. The best of two
runs; some four minutes on sixteen cores. Give it a machine of its own.
"""

from __future__ import annotations

import argparse
import os
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from modecheck.engine.contract.space import Limits
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.native.reach import reach
from modecheck.engine.native.table import StateTable
from modecheck.engine.native.workers import Worker
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from tests.benchmarks.explore import counters, devices, product_of

THREADS = (1, 2, 4, 8, 16, 32, 64)
REPEATS = 2
DEFAULT = ("octal-8", "octal-9", "tandem")

Times = dict[str, float]


@contextmanager
def times_of(*methods: tuple[str, type, str]) -> Iterator[Times]:
    """Seconds that all threads together spend in some methods, by the name that each is given."""
    spent: Times = defaultdict(float)
    adding = threading.Lock()

    def timed(what: str, method: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any) -> Any:
            began = time.perf_counter()
            try:
                return method(*arguments)
            finally:
                with adding:
                    spent[what] += time.perf_counter() - began

        return call

    before = [(owner, name, getattr(owner, name)) for _, owner, name in methods]
    for what, owner, name in methods:
        setattr(owner, name, timed(what, getattr(owner, name)))
    yield spent
    for owner, name, method in before:
        setattr(owner, name, method)


def measured(machine: CompiledProduct, threads: int) -> tuple[float, int, Times]:
    """Seconds, states, and what the threads' time went into."""
    with times_of(
        ("expanding", Worker, "expand"),
        ("small levels", Worker, "expand_small_levels"),
        ("growing", StateTable, "grow"),
    ) as spent:
        began = time.perf_counter()
        reached = reach(machine, threads=threads, limits=Limits(), reporter=Silent())
        seconds, states = time.perf_counter() - began, reached.states
        reached.give_back()
    return seconds, states, spent


def report(name: str, text: str, most: int) -> None:
    """Print a line for each number of threads."""
    product = product_of(text)
    machine = compiled(product, system_actions(product))
    warm = Limits(states=100_000)
    for threads in (1, 2):  # compiles the kernels
        reach(machine, threads=threads, limits=warm, reporter=Silent()).give_back()
    alone = 0.0
    for threads in (count for count in THREADS if count <= most):
        runs = [measured(machine, threads) for _ in range(REPEATS)]
        seconds, states, spent = min(runs, key=lambda run: run[0])
        rate = states / seconds
        alone = alone or rate
        shares = {what: 100 * one / (threads * seconds) for what, one in spent.items()}
        told = ", ".join(f"{what} {share:.0f} %" for what, share in sorted(shares.items()))
        print(
            f"{name:8} {threads:3} threads {rate / 1e6:7.2f} M states/s, "
            f"{rate / alone:5.2f} times, "
            f"efficiency {rate / alone / threads:.2f}; {told}, the rest "
            f"{100 - sum(shares.values()):.0f} %",
            flush=True,
        )


def main() -> None:
    """Measure the products that are named, or those that scaling is judged by."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("names", nargs="*", default=DEFAULT)
    parser.add_argument("--most", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    texts = dict(devices()) | {"octal-9": counters(9), "octal-10": counters(10)}
    for name in asked.names:
        report(name, texts[name], asked.most)


if __name__ == "__main__":
    main()
