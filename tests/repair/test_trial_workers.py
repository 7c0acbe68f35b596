"""Work on several processes: all of it is done once, and what is lost is counted."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest

from modecheck.repair.trial_workers import TrialWorkers


def doubled(number: int) -> int:
    """Ends its process at 13."""
    if number == 13:
        os._exit(1)
    return 2 * number


@pytest.mark.parametrize("count", [1, 3])
def test_everything_is_done_once(count: int) -> None:
    """On one process, which is our own, and on several."""
    with TrialWorkers(doubled, count, None) as workers:
        assert sorted(workers.tried_out(iter(range(10)), "testing")) == list(range(0, 20, 2))
        assert (workers.tried, workers.broken) == (10, 0)


def test_a_process_that_fails_is_counted() -> None:
    """The others go on with what is left."""
    with TrialWorkers(doubled, 2, None) as workers:
        found = sorted(workers.tried_out(iter(range(20)), "testing"))
    assert found == [2 * n for n in range(20) if n != 13]
    assert (workers.tried, workers.broken) == (19, 1)


ASKING = """\
import time
from modecheck.repair.trial_workers import TrialWorkers
with TrialWorkers(abs, 2, None) as workers:
    print(*(one.pid for one in workers._processes.values()), flush=True)
    time.sleep(60)
"""


def test_no_process_outlives_who_asks() -> None:
    """Even if that one is killed, and can end nobody: a job in CI that takes too long is."""
    with subprocess.Popen([sys.executable, "-c", ASKING], stdout=subprocess.PIPE) as asking:
        assert asking.stdout is not None
        numbers = [int(word) for word in asking.stdout.readline().split()]
        asking.kill()
    assert len(numbers) == 2
    until = time.monotonic() + 10
    while any(map(is_running, numbers)) and time.monotonic() < until:
        time.sleep(0.02)
    left = [number for number in numbers if is_running(number)]
    for number in left:
        os.kill(number, signal.SIGKILL)
    assert not left


def is_running(number: int) -> bool:
    """Whether there is a process with this number that has not ended."""
    told = subprocess.run(
        ["ps", "-o", "stat=", "-p", str(number)],
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    return bool(told.strip()) and not told.startswith("Z")


def test_nothing_is_begun_when_time_is_up() -> None:
    """And what has begun is not waited for."""

    def forever() -> Iterator[int]:
        number = 0
        while True:
            yield number
            number += 1

    workers: TrialWorkers[int, int] = TrialWorkers(doubled, 2, time.monotonic())
    with workers:
        assert list(workers.tried_out(forever(), "testing")) == []
        assert workers.time_is_up
