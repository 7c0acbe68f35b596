"""What a second worker of a cluster brings, where all are processes of this machine.

    python -m tests.benchmarks.cluster [octal-7 octal-8 ...]

For each product: states a second that one Dask worker of one thread finds into a store, and two of
them, by the same scheduler; the ratio of both, wanted to be 1.6 or more; and the same for the files
for questions about paths that are made after that. The runs take turns, the best of some counts.
The first cores are those of the machine that also runs the client and the scheduler, which do
little meanwhile. Give it a machine of its own: the load is printed.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from modecheck.engine.cluster.cluster_workers import ClusterWorkers
from modecheck.engine.contract.space import Limits
from modecheck.engine.store.opening import explore_in_store
from modecheck.product.ir import Product
from tests.benchmarks.explore import counters, product_of
from tests.engine.cluster.local_cluster import LocalCluster

WORKERS = (1, 2)
REPEATS = 2
WANTED = 1.6
WARM = counters(6)
"""What is explored first, so that each worker has loaded and compiled what it needs."""


@dataclass
class LastState:
    """Remembers when the last state was found."""

    states: int = 0
    at: float = 0.0

    def progress(self, *, states: int, transitions: int, frontier: int, depth: int) -> None:  # noqa: ARG002
        if states > self.states:
            self.states, self.at = states, time.perf_counter()


@dataclass(frozen=True, slots=True)
class Run:
    """Seconds until all states were found, and until all files for paths were made."""

    states: int
    exploring: float
    paths: float


def explored(product: Product, address: str) -> Run:
    """Explore into a new folder."""
    with tempfile.TemporaryDirectory() as folder:
        workers, last = ClusterWorkers(address), LastState()
        began = time.perf_counter()
        explore_in_store(
            product,
            Path(folder),
            threads=1,
            limits=Limits(),
            reporter=last,
            workers=workers,
        )
        ended = time.perf_counter()
        workers.close()
        return Run(last.states, last.at - began, ended - last.at)


def measured(product: Product, clusters: dict[int, LocalCluster]) -> dict[int, Run]:
    """The best of some runs for each number of workers."""
    best: dict[int, Run] = {}
    for count in WORKERS * REPEATS:
        run = explored(product, clusters[count].address)
        known = best.get(count, run)
        fewest = min(known.exploring, run.exploring), min(known.paths, run.paths)
        best[count] = Run(run.states, *fewest)
    return best


def report(name: str, best: dict[int, Run]) -> None:
    """Print the figures of one product."""
    print(f"{name}: {best[1].states:,} states, load {os.getloadavg()[0]:.1f} at the end")
    for count, run in best.items():
        print(
            f"  {count} worker{'s' if count > 1 else ' '}  {run.exploring:6.2f} s, "
            f"{run.states / run.exploring / 1e6:.2f} M states/s; files for paths {run.paths:.2f} s"
        )
    one, two = best[1], best[2]
    ratio, paths = one.exploring / two.exploring, one.paths / two.paths
    print(f"  ratio {ratio:.2f} (wanted {WANTED}), of the files for paths {paths:.2f}", flush=True)


def main() -> None:
    """Run the benchmarks that are named, or two."""
    names = sys.argv[1:] or ["octal-7", "octal-8"]
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    with tempfile.TemporaryDirectory() as folder:
        clusters = {}
        try:
            for count in WORKERS:
                room = Path(folder) / f"{count}"
                room.mkdir()
                clusters[count] = LocalCluster(room, memory="4GB").start(count)
                explored(product_of(WARM), clusters[count].address)
            for name in names:
                product = product_of(counters(int(name.partition("-")[2])))
                report(name, measured(product, clusters))
        finally:
            for cluster in clusters.values():
                cluster.stop()


if __name__ == "__main__":
    main()
