"""A real scheduler with worker processes on the loopback interface, for tests and benchmarks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[3]
SECONDS = 120.0
"""How long a scheduler or a worker may take to start on a busy machine."""

SCHEDULER = "distributed.cli.dask_scheduler"
WORKER = "distributed.cli.dask_worker"
LOOPBACK = ("--host", "127.0.0.1", "--no-dashboard")


@dataclass
class LocalCluster:
    """Processes of this machine, which `folder` holds the files of. They are ended by their ids."""

    folder: Path
    environment: dict[str, str] = field(default_factory=dict)
    memory: str = "1GB"
    scheduler: subprocess.Popen[bytes] | None = None
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def file(self) -> str:
        """The scheduler's file."""
        return str(self.folder / "scheduler.json")

    @property
    def address(self) -> str:
        with open(self.file, encoding="utf-8") as file:
            return str(json.load(file)["address"])

    def start(self, workers: int) -> LocalCluster:
        """Start a scheduler, at a port that the system chooses, and so many workers."""
        self.scheduler = self._process(
            SCHEDULER, "--port", "0", "--scheduler-file", self.file, log="scheduler"
        )
        end = time.monotonic() + SECONDS
        while not os.path.exists(self.file):
            assert time.monotonic() < end
            time.sleep(0.02)
        for _ in range(workers):
            self.add_worker()
        return self

    def add_worker(self, *, threads: int = 1, **environment: str) -> subprocess.Popen[bytes]:
        """Start one more worker."""
        number = len(self.workers)
        room = self.folder / f"worker{number}"
        options = ("--no-nanny", "--nthreads", str(threads), "--memory-limit", self.memory)
        places = ("--scheduler-file", self.file, "--local-directory", str(room))
        process = self._process(
            WORKER,
            *options,
            *places,
            "--death-timeout",
            "120",
            log=f"worker{number}",
            **environment,
        )
        self.workers.append(process)
        return process

    def _process(
        self, module: str, *options: str, log: str, **environment: str
    ) -> subprocess.Popen[bytes]:
        with open(self.folder / f"{log}.log", "wb") as file:
            return subprocess.Popen(
                [sys.executable, "-m", module, *LOOPBACK, *options],
                stdout=file,
                stderr=file,
                cwd=ROOT,
                env={**os.environ, **self.environment, **environment},
            )

    def stop(self) -> None:
        """End all processes."""
        for process in (*self.workers, self.scheduler):
            if process is not None and process.poll() is None:
                process.kill()
                process.wait()
