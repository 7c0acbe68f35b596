"""What a second worker of a cluster brings, where all are processes of this machine.

    python -m tests.benchmarks.cluster [octal-7 octal-8 ...]

For each product: states a second that one Dask worker of one thread finds into a store, and two of
them; and the ratio of both, wanted to be 1.6 or more. Small levels, which the client explores
alone, count. The runs take turns, and the best of some counts; for each the processor time that its
workers took is told, too, which a busy machine disturbs less: with two workers it should be hardly
more. Files for questions about paths are not made. Give it a machine of its own; the load is told.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import psutil

from modecheck.engine.cluster.cluster_workers import ClusterWorkers
from modecheck.engine.contract.space import Limits
from modecheck.engine.store import store_explorer
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
    """Seconds until all states were found, and of processors that the workers and the client took
    meanwhile.
    """

    states: int
    seconds: float
    work: float
    client: float


def work_of(cluster: LocalCluster) -> float:
    """Seconds of processors that the workers have taken since they were started."""
    times = [psutil.Process(process.pid).cpu_times() for process in cluster.workers]
    return float(sum(one.user + one.system for one in times))


def explored(product: Product, cluster: LocalCluster) -> Run:
    """Explore into a new folder."""
    with tempfile.TemporaryDirectory() as folder:
        workers, last, before = ClusterWorkers(cluster.address), LastState(), work_of(cluster)
        began, own = time.perf_counter(), time.process_time()
        explore_in_store(
            product, Path(folder), threads=1, limits=Limits(), reporter=last, workers=workers
        )
        own = time.process_time() - own
        workers.close()
        return Run(last.states, last.at - began, work_of(cluster) - before, own)


def measured(product: Product, clusters: dict[int, LocalCluster]) -> dict[int, Run]:
    """The best of some runs for each number of workers."""
    runs = [(count, explored(product, clusters[count])) for count in WORKERS * REPEATS]
    return {
        count: min((run for other, run in runs if other == count), key=lambda run: run.seconds)
        for count in WORKERS
    }


def report(name: str, best: dict[int, Run]) -> None:
    """Print the figures of one product."""
    print(f"{name}: {best[1].states:,} states, load {os.getloadavg()[0]:.1f} at the end")
    for count, run in best.items():
        print(
            f"  {count} worker{'s' if count > 1 else ' '}  {run.seconds:6.2f} s, "
            f"{run.states / run.seconds / 1e6:.2f} M states/s; {run.work:.2f} s of processors, "
            f"{run.client:.2f} s of the client's"
        )
    ratio, work = best[1].seconds / best[2].seconds, best[2].work / best[1].work
    print(f"  ratio {ratio:.2f} (wanted {WANTED}); processor time of two beside one {work:.2f}")


def main() -> None:
    """Run the benchmarks that are named, or two."""
    names = sys.argv[1:] or ["octal-7", "octal-8"]
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    without_paths = mock.patch.object(store_explorer, "MOST_STATES", 0)
    with tempfile.TemporaryDirectory() as folder, without_paths:
        clusters = {}
        try:
            for count in WORKERS:
                room = Path(folder) / f"{count}"
                room.mkdir()
                clusters[count] = LocalCluster(room, memory="4GB").start(count)
                explored(product_of(WARM), clusters[count])
            for name in names:
                product = product_of(counters(int(name.partition("-")[2])))
                report(name, measured(product, clusters))
        finally:
            for cluster in clusters.values():
                cluster.stop()


if __name__ == "__main__":
    main()
