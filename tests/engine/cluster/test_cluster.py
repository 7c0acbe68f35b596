"""A store that a Dask cluster explores: what memory tells, whoever is lost meanwhile."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings

from modecheck.checks.verdict import explore_variant
from modecheck.engine.cluster import cluster_workers, connection, parcels
from modecheck.engine.cluster.cluster_workers import ClusterWorkers
from modecheck.engine.cluster.connection import ClusterError
from modecheck.engine.store import expanding, small_levels
from modecheck.engine.store.pool import Task, WorkersLost
from modecheck.model.devices import read_device
from tests.cli.running import environment, run
from tests.engine.cluster.local_cluster import ROOT, LocalCluster
from tests.engine.store.test_store import assert_agree
from tests.generation.devices import Drawn, devices
from tests.models.bundled import MODELS, STARTER, TANDEM, name_of

pytest.importorskip("distributed", reason="dask.distributed is not installed")
pytestmark = pytest.mark.usefixtures("own_cache")

BOND = MODELS / "faulty" / "volatile_bond.yaml"
PATIENCE = 240
"""Seconds after which something hangs; far more than is needed on a busy machine."""
EXAMPLES = settings().max_examples


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LocalCluster]:
    """Two workers, for all tests that lose none."""
    local = LocalCluster(tmp_path_factory.mktemp("cluster"))
    try:
        yield local.start(2)
    finally:
        local.stop()


@pytest.fixture
def alone(tmp_path: Path) -> Iterator[LocalCluster]:
    """A cluster without workers, for a test of its own."""
    (tmp_path / "cluster").mkdir()
    local = LocalCluster(tmp_path / "cluster")
    try:
        yield local.start(0)
    finally:
        local.stop()


@pytest.fixture
def by_tasks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Levels of more than eight states are done by tasks."""
    monkeypatch.setattr(small_levels, "FEW", 8)


@pytest.mark.usefixtures("by_tasks")
def test_a_cluster_tells_what_memory_tells(
    cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a bundled device, with whatever is sent in a file of its own."""
    monkeypatch.setattr(parcels, "MOST_SENT", 700)
    assert_agree(read_device(str(BOND)), str(tmp_path), cluster=cluster.address)
    assert not list((tmp_path / parcels.PARCELS).iterdir())


def test_workers_agree(cluster: LocalCluster, tmp_path: Path) -> None:
    """A table that fits a narrow terminal; nothing is left in the folder."""
    result = run("cluster-check", cluster.file, "--store", str(tmp_path / "new"))
    assert (result.code, result.err) == (0, "")
    assert "2 workers, 2 threads" in result.out
    rows = re.findall(r"^  \w[\w ]*  (good|warning|unusable)  ", result.out, re.MULTILINE)
    assert rows == ["good"] * 13
    assert max(map(len, result.out.splitlines())) <= 80
    assert list((tmp_path / "new").iterdir()) == []


def test_a_folder_that_others_may_write_is_refused(cluster: LocalCluster, tmp_path: Path) -> None:
    """By the table, and by a check before it begins."""
    folder = tmp_path / "open"
    folder.mkdir()
    folder.chmod(0o777)
    result = run("cluster-check", cluster.address, "--store", str(folder))
    assert result.code == 2
    assert "others may write to it" in result.out
    assert run("check", str(STARTER), "--cluster", cluster.file, "--store", str(folder)).code == 2


def _wait(seconds: float, marker: str) -> float:
    """A task that tells by a file that it has begun."""
    Path(marker).touch()
    time.sleep(seconds)
    return seconds


def _until(path: Path) -> None:
    end = time.monotonic() + PATIENCE
    while not path.exists():
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.mark.thorough
def test_what_a_lost_worker_did_is_done_by_another(alone: LocalCluster, tmp_path: Path) -> None:
    """One that comes later, too."""
    lost = alone.add_worker()
    workers = ClusterWorkers(alone.address)
    workers.need_ready(tmp_path)
    given_out = workers.results(
        [(_wait, (1.0 + number, str(tmp_path / f"{number}"))) for number in range(2)]
    )
    import threading

    def kill() -> None:
        _until(tmp_path / "0")
        lost.kill()
        alone.add_worker()

    thread = threading.Thread(target=kill)
    thread.start()
    assert sorted(given_out) == [(0, 1.0), (1, 2.0)]
    thread.join()
    workers.close()


@pytest.mark.thorough
def test_a_cluster_without_workers_is_given_up(
    alone: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a while; and after less, if there never was one."""
    monkeypatch.setattr(connection, "SECONDS_FOR_A_WORKER", 0.5)
    monkeypatch.setattr(cluster_workers, "PATIENCE", 1.0)
    with pytest.raises(ClusterError, match="no worker is there"):
        ClusterWorkers(alone.address).need_ready(tmp_path)
    monkeypatch.setattr(connection, "SECONDS_FOR_A_WORKER", 30)
    worker = alone.add_worker()
    workers = ClusterWorkers(alone.address)
    workers.need_ready(tmp_path)
    worker.kill()
    with pytest.raises(WorkersLost, match="all workers"):
        list(workers.results([(_wait, (0.1, str(tmp_path / "marker")))]))
    workers.close()


@pytest.mark.thorough
@pytest.mark.usefixtures("by_tasks")
@pytest.mark.parametrize("path", [STARTER, MODELS / "faulty" / "late_answer.yaml"], ids=name_of)
def test_more_devices(path: Path, cluster: LocalCluster, tmp_path: Path) -> None:
    """The same as in memory."""
    assert_agree(read_device(str(path)), str(tmp_path), cluster=cluster.address)


@pytest.mark.thorough
@pytest.mark.usefixtures("by_tasks")
def test_random_devices(cluster: LocalCluster) -> None:
    """In the same folder one after the other: workers remember nothing of the one before."""

    @given(devices(options=False))
    @settings(max_examples=EXAMPLES // 2)
    def agree(drawn: Drawn) -> None:
        device = drawn.read()
        if explore_variant(device).exploration.state_count < 600:
            shutil.rmtree(store, ignore_errors=True)
            assert_agree(device, store, cluster=cluster.address)

    with TemporaryDirectory() as folder:
        store = str(Path(folder) / "store")
        agree()


@pytest.mark.thorough
@pytest.mark.usefixtures("by_tasks")
def test_a_file_that_is_cut_off_meanwhile(
    cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its level is done again."""
    cut: list[Path] = []
    results = ClusterWorkers.results

    def careless(self: ClusterWorkers, given: Sequence[Task[Any]]) -> Iterator[tuple[int, Any]]:
        for number, result in results(self, given):
            if isinstance(result, expanding.Expanded) and result.outbox and len(cut) < 2:
                cut.append(tmp_path / "device" / result.outbox[0])
                cut[-1].write_bytes(cut[-1].read_bytes()[:-9])
            yield number, result

    monkeypatch.setattr(ClusterWorkers, "results", careless)
    assert_agree(read_device(str(BOND)), str(tmp_path), cluster=cluster.address)
    assert len(cut) == 2


CHECK = """\
import sys
from modecheck.engine.store import small_levels
small_levels.FEW = 8
from modecheck.cli.main import main
main()
"""


def _started(address: str, store: Path) -> subprocess.Popen[bytes]:
    """A check that gives out many small tasks."""
    return subprocess.Popen(
        [sys.executable, "-c", CHECK, "check", str(TANDEM), "--cluster", address, "--store", store],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        env=environment(),
    )


def _levels(store: Path, count: int) -> None:
    """Wait until so many lines are in the journal."""
    end = time.monotonic() + PATIENCE
    while sum(path.read_bytes().count(b"\n") for path in store.glob("*/journal")) < count:
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.mark.thorough
@pytest.mark.parametrize("kill", ["client", "interrupt", "worker", "scheduler"])
@pytest.mark.usefixtures("interruptible", "by_tasks")
def test_whoever_is_lost_the_check_goes_on(kill: str, alone: LocalCluster, tmp_path: Path) -> None:
    """In the middle of a check; what it finds in the end is the same."""
    store = tmp_path / "store"
    for _ in range(2):
        alone.add_worker()
    process = _started(alone.address, store)
    _levels(store, 6)
    if kill == "worker":
        alone.workers[0].kill()
        out, err = process.communicate(timeout=PATIENCE)
        assert b"depth 26, complete" in b" ".join(out.split()), err
        assert process.returncode == 0
    elif kill == "scheduler":
        assert alone.scheduler is not None
        alone.scheduler.kill()
        out, err = process.communicate(timeout=PATIENCE)
        assert b"stopped by the loss of the scheduler" in b" ".join(out.split()), err
        assert process.returncode == 3
        alone.stop()
        os.unlink(alone.file)
        alone.start(2)
    elif kill == "interrupt":
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=PATIENCE)
        assert b"stopped by an interruption" in b" ".join(out.split()), (out, err)
    else:
        process.kill()
        process.communicate()
    assert_agree(read_device(str(TANDEM)), str(store), cluster=alone.address)


@pytest.mark.thorough
def test_a_worker_that_runs_other_code_gets_no_task(alone: LocalCluster, tmp_path: Path) -> None:
    """It is refused at the start; if it comes later, the check stops before it is believed."""
    other = tmp_path / "other"
    shutil.copytree(ROOT / "modecheck", other / "modecheck")
    with open(other / "modecheck" / "engine" / "choice.py", "a", encoding="utf-8") as file:
        file.write("# edited\n")
    store = tmp_path / "store"
    store.mkdir(mode=0o700)
    first = alone.add_worker()
    workers = ClusterWorkers(alone.address)
    workers.need_ready(store)
    alone.add_worker(PYTHONPATH=str(other), PYTHONSAFEPATH="1")
    while workers.count < 2:
        time.sleep(0.05)
    first.kill()
    with pytest.raises(WorkersLost, match="runs other code"):
        list(workers.results([(_wait, (0.0, str(tmp_path / "marker")))]))
    workers.close()
    result = run("cluster-check", alone.address, "--store", str(store))
    assert result.code == 2
    assert "the text of modecheck differs on" in result.out


@pytest.mark.thorough
def test_a_cluster_without_modecheck_is_refused(tmp_path: Path) -> None:
    """The scheduler and the worker are named."""
    bare = tmp_path / "bare"
    (bare / "modecheck").mkdir(parents=True)
    (bare / "modecheck" / "__init__.py").write_text("raise ImportError('no modecheck here')\n")
    local = LocalCluster(tmp_path, {"PYTHONPATH": str(bare), "PYTHONSAFEPATH": "1"})
    try:
        local.start(1)
        result = run("cluster-check", local.address, "--store", str(tmp_path / "store"))
    finally:
        local.stop()
    assert result.code == 2
    said = " ".join(result.out.split())
    assert "no modecheck here on" in said
    assert "the scheduler" in said


def test_what_is_missing_is_said_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The extra, a scheduler that answers, a scheduler's file, a folder; exit code 2 each time."""
    monkeypatch.setattr(connection, "SECONDS_TO_CONNECT", 0.2)
    store = ("--store", str(tmp_path / "store"))
    broken = tmp_path / "broken.json"
    broken.write_text("[]")
    for address, said in (
        ("tcp://127.0.0.1:9", "no scheduler answers within 0.2 s"),
        ("nothing://here", "cannot be used: "),
        (str(broken), "not one that a scheduler wrote"),
        (str(tmp_path / "none.json"), "no such file"),
    ):
        for command in (("check", str(STARTER), "--cluster", address), ("cluster-check", address)):
            result = run(*command, *store)
            assert (result.code, result.out) == (2, "")
            assert said in " ".join(result.err.split())
    result = run("check", str(STARTER), "--cluster", "tcp://127.0.0.1:9")
    assert result.code == 2
    assert "--cluster needs --store" in result.err
    monkeypatch.setattr(connection, "find_spec", lambda _: None)
    result = run("check", str(STARTER), "--cluster", "tcp://127.0.0.1:9", *store)
    assert result.code == 2
    assert "pip install 'modecheck[cluster]'" in " ".join(result.err.split())
