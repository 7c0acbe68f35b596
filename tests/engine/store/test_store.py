"""A store against memory: the same states, transitions, findings and scenarios, however it is
stopped, damaged and gone on with.
"""

from __future__ import annotations

import copy
import errno
import itertools
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings

from modecheck.checks.explored import Explored
from modecheck.checks.verdict import explore_variant
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits, LoopQuery, NotSearched
from modecheck.engine.store import (
    expanding,
    merging,
    path_files,
    pool,
    small_levels,
    store_explorer,
    tasks,
    transition_files,
)
from modecheck.engine.store.checked_files import DamagedFileError
from modecheck.engine.store.folder_trust import StoreError
from modecheck.engine.store.journal import JOURNAL
from modecheck.engine.store.store_explorer import StoreExplorer
from modecheck.engine.store.swept_store import SweptStore
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from tests.cli.running import run
from tests.generation.devices import Drawn, device_from, devices
from tests.models.bundled import MODELS, STARTER, TANDEM, TWINS, name_of
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

FEW = {"volatile_bond", "late_answer", "starter", "alternating_bit_1"}
BUNDLED = [STARTER, *TWINS, *sorted((MODELS / "published").glob("*.yaml"))]
MOST_STATES = 50_000
FITS_MEMORY = StoreExplorer.fits_memory
"""As it is outside of these tests."""
EXAMPLES = settings().max_examples


@pytest.fixture
def by_tasks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Levels of more than four states are done by tasks."""
    monkeypatch.setattr(small_levels, "FEW", 4)


def told(one: Explored) -> dict[str, Any]:
    """What a store and memory must agree on."""
    space = one.exploration
    return {
        "layers": space.layers,
        "transitions": space.transitions,
        "coverage": one.coverage,
        "switches": one.switches,
        "endings": one.endings,
        "modes": one.modes,
        "marks": {marks: found.count for marks, found in space.combinations().items()},
        "failures": {key: seen.count for key, seen in space.failures.items()},
        "findings": {
            (finding.id, tuple(map(str, finding.trace.moves)) if finding.trace else ())
            for finding in one.findings
        },
    }


def in_memory(device: Device) -> Explored:
    return explore_variant(device, search=Search(engine="compiled", threads=1))


def assert_agree(device: Device, folder: str, known: Explored | None = None, **how: Any) -> None:
    """Exploring into a folder finds what the compiled engine finds in memory."""
    stored = explore_variant(device, search=Search(store=folder, **({"threads": 1} | how)))
    memory = known or in_memory(device)
    assert stored.exploration.complete
    assert not stored.reduced.not_asked
    assert told(stored) == told(memory)
    verdicts = [
        [(one.need.name, one.verdict) for one in found.requirements] for found in (stored, memory)
    ]
    assert verdicts[0] == verdicts[1]


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: name_of(path) in FEW), ids=name_of)
def test_a_store_tells_what_memory_tells(path: Path, tmp_path: Path) -> None:
    """Of bundled devices, small levels in memory."""
    device = read_device(str(path))
    if explore_variant(device).exploration.state_count <= MOST_STATES:
        assert_agree(device, str(tmp_path))


@pytest.mark.usefixtures("by_tasks")
@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: name_of(path) in FEW), ids=name_of)
def test_tasks_tell_what_memory_tells(path: Path, tmp_path: Path) -> None:
    """The same, partition by partition."""
    device = read_device(str(path))
    if explore_variant(device).exploration.state_count <= MOST_STATES // 10:
        assert_agree(device, str(tmp_path))


@pytest.mark.thorough
@pytest.mark.usefixtures("by_tasks")
@given(devices(options=False))
@settings(max_examples=EXAMPLES // 2)
def test_random_devices(drawn: Drawn) -> None:
    """With all that products can have."""
    device = drawn.read()
    if explore_variant(device).exploration.state_count < 600:
        with TemporaryDirectory() as folder:
            assert_agree(device, folder)


@pytest.mark.usefixtures("by_tasks")
def test_it_goes_on_from_every_stop(tmp_path: Path) -> None:
    """A bound that grows by a few states each time; the last time nothing is left to do."""
    device = read_device(str(MODELS / "faulty" / "volatile_bond.yaml"))
    folder, met = str(tmp_path), Counter[bool]()
    for most in range(10, 4_000, 20):
        search = Search(store=folder, threads=1, limits=Limits(states=most))
        found = explore_variant(device, search=search).exploration
        met[found.complete] += 1
        assert found.complete or found.stopped_by == f"the bound of {most:,} states"
        if found.complete:
            break
    assert met[True] == 1
    assert met[False] > 3
    assert_agree(device, folder)


NARROW = """
device: three counters, and one that waits for them
chips:
  a: &counter {variables: {n: {range: [0, 3]}}, states: [s], rules: [{if: n < 3, do: n = n + 1}]}
  b: *counter
  c: *counter
  waiting:
    variables: {m: {range: [0, 400]}}
    states: [s]
    rules: [{if: a.n + b.n + c.n == 9 and m < 400, do: m = m + 1}]
"""


@pytest.mark.usefixtures("by_tasks")
def test_small_levels_behind_large_ones_are_written_together(tmp_path: Path) -> None:
    """Four hundred of them, by one record, or by some when a bound is met in between."""
    device = device_from(NARROW)
    folder, journal = str(tmp_path), tmp_path / "device" / JOURNAL
    for most in (100, 170, 171, 300):
        search = Search(store=folder, threads=1, limits=Limits(states=most))
        assert not explore_variant(device, search=search).exploration.complete
        path = sorted((tmp_path / "device" / "runs").iterdir())[-1]
        path.write_bytes(path.read_bytes()[:-1])
    assert_agree(device, folder)
    assert b'"is_span":true' in journal.read_bytes().splitlines()[-2]
    assert journal.read_bytes().count(b"\n") < 30


@pytest.mark.usefixtures("by_tasks")
def test_whatever_is_damaged_is_done_again(tmp_path: Path) -> None:
    """A file of states, runs or transitions that is cut off, flipped or gone, and a journal that is
    cut off.
    """
    device = read_device(str(MODELS / "faulty" / "volatile_bond.yaml"))
    known = in_memory(device)
    assert_agree(device, str(tmp_path), known)
    own = tmp_path / "device"
    for number, room in enumerate(
        ["", "states", "runs", "paths", "states", "paths", "runs", "states", "paths"]
    ):
        paths = sorted((own / room).iterdir()) if room else [own / JOURNAL]
        assert paths
        path = paths[number * len(paths) // 9]
        data = path.read_bytes()
        path.write_bytes((data[: len(data) // 2], data[:-1] + b"?", b"")[number % 3])
        for opened in (tasks.opened, transition_files.opened_transitions):
            opened.cache_clear()
        assert_agree(device, str(tmp_path), known)


@pytest.mark.usefixtures("by_tasks")
def test_a_full_disk_is_told_and_made_good(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While transitions are made: what needs none is answered, and the rest named as not asked;
    what is whole is not made again.
    """
    make, disk = transition_files.make_transitions_of, [0]

    def full(*given: Any) -> Any:
        disk[0] += 1
        if disk[0] == 2:
            raise OSError(errno.ENOSPC, "no space left on device")
        return make(*given)

    device = read_device(str(MODELS / "faulty" / "volatile_bond.yaml"))
    monkeypatch.setattr(path_files, "FEWEST_STATES", 20)
    monkeypatch.setattr(path_files, "LARGE", 0)
    monkeypatch.setattr(path_files, "make_transitions_of", full)
    stopped = explore_variant(device, search=Search(store=str(tmp_path), threads=1))
    assert stopped.exploration.stopped_by == store_explorer.LACK_OF_SPACE
    assert "stuck-chip" in stopped.reduced.not_asked
    (made,) = (tmp_path / "device" / "paths").glob("*-steps-*")
    before = made.stat().st_ino
    assert_agree(device, str(tmp_path))
    assert made.stat().st_ino == before


@pytest.mark.usefixtures("by_tasks")
def test_what_gets_damaged_meanwhile_is_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that one task wrote is cut off before another reads it."""
    expand, left = expanding.expand, [2]

    def careless(folder: str, *others: Any) -> expanding.Expanded:
        expanded = expand(folder, *others)
        if expanded.outbox and left[0]:
            left[0] -= 1
            path = Path(folder) / expanded.outbox[0]
            path.write_bytes(path.read_bytes()[:-9])
        return expanded

    monkeypatch.setattr(store_explorer, "expand", careless)
    assert_agree(read_device(str(MODELS / "faulty" / "volatile_bond.yaml")), str(tmp_path))
    assert left == [0]


@pytest.mark.usefixtures("by_tasks")
def test_no_two_runs_write_files_of_the_same_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even of the same level: a task that a lost client gave out may be done at any time later, and
    divide the level in another way.
    """
    device = read_device(str(MODELS / "faulty" / "late_answer.yaml"))
    results, written, levels = pool.Alone.results, list[set[str]](), itertools.count()

    def noting(self: pool.Alone, given: Any) -> Any:
        if given[0][0] is merging.merge and next(levels) == 1:
            raise KeyboardInterrupt
        for number, result in results(self, given):
            written[-1].update(getattr(result, "outbox", ()))
            yield number, result

    monkeypatch.setattr(pool.Alone, "results", noting)
    for complete in (False, True):
        written.append(set())
        found = explore_variant(device, search=Search(store=str(tmp_path), threads=1)).exploration
        assert found.complete == complete
    first, second = written
    levels_of_both = [{name.partition("-")[0] for name in names} for names in written]
    assert set.intersection(*levels_of_both)
    assert not first & second


def test_a_product_that_others_may_write_is_not_run(tmp_path: Path) -> None:
    """By whoever does a task."""
    explore_variant(read_device(str(STARTER)), search=Search(store=str(tmp_path), threads=1))
    tasks.machine_of.cache_clear()
    (tmp_path / "device" / tasks.PRODUCT).chmod(0o666)
    with pytest.raises(StoreError, match="others may write"):
        tasks.machine_of(str(tmp_path / "device"))


def test_errors_of_tasks_cross_processes() -> None:
    """With the file that is damaged: pickling and copying take the same way."""
    error = copy.copy(DamagedFileError(Path("states/1"), "it is cut off"))
    assert str(error) == "states/1: it is cut off"


@pytest.mark.thorough
@pytest.mark.usefixtures("by_tasks")
def test_several_processes_tell_the_same(tmp_path: Path) -> None:
    """As one does."""
    device = read_device(str(MODELS / "faulty" / "volatile_bond.yaml"))
    assert_agree(device, str(tmp_path), threads=2)


@pytest.mark.usefixtures("by_tasks")
def test_little_memory_is_enough(tmp_path: Path) -> None:
    """What a task finds is then written by many files, and read some blocks at a time."""
    device = read_device(str(MODELS / "faulty" / "late_answer.yaml"))
    assert_agree(device, str(tmp_path), limits=Limits(memory=50_000))


def _ends_at_once(marker: str) -> str:
    """A task whose process ends the first time, as if it had been killed."""
    path = Path(marker)
    if not path.exists():
        path.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return "done"


@pytest.mark.thorough
def test_what_a_lost_process_did_is_done_again(tmp_path: Path) -> None:
    """By another one."""
    workers = pool.Processes(1)
    given = [(_ends_at_once, (str(tmp_path / "marker"),))]
    assert list(workers.results(given)) == [(0, "done")]
    workers.close()


@pytest.mark.thorough
@pytest.mark.parametrize("seconds", [0.8, 1.3, 1.8, 2.4, 3.0, 4.0])
def test_a_killed_check_goes_on(seconds: float, tmp_path: Path) -> None:
    """Killed at some moment, and started again, it ends as if nothing had been."""
    program = [sys.executable, "-m", "modecheck", "check", str(TANDEM), "--store", str(tmp_path)]
    process = subprocess.Popen(program, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(seconds)
    process.kill()
    process.wait()
    assert_agree(read_device(str(TANDEM)), str(tmp_path))


@pytest.mark.thorough
def test_a_check_that_is_killed_while_transitions_are_made_goes_on(tmp_path: Path) -> None:
    """Killed as soon as states are numbered, and started again."""
    path = MODELS / "faulty" / "volatile_bond.yaml"
    program = [sys.executable, "-m", "modecheck", "check", str(path), "--store", str(tmp_path)]
    program += ["--memory", "1kB"]  # so that it asks the files
    process = subprocess.Popen(program, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while process.poll() is None and not any(tmp_path.rglob("*-ordered-*")):
        time.sleep(0.001)
    process.kill()
    process.wait()
    assert any(tmp_path.rglob("*-ordered-*"))
    assert_agree(read_device(str(path)), str(tmp_path))


def test_the_exit_code_is_that_of_memory(tmp_path: Path) -> None:
    """Nothing is left open, and nothing found, or something is."""
    for number, path in enumerate((STARTER, MODELS / "faulty" / "late_answer.yaml")):
        folder = str(tmp_path / str(number))
        result = run("check", str(path), "--store", folder, "--threads", "1")
        assert result.code == run("check", str(path)).code == number


def test_what_is_not_asked_is_named(tmp_path: Path) -> None:
    """Nothing is said to hold that was not looked at; the exit code says so, too."""
    options = "--store", str(tmp_path / "new"), "--threads", "1", "--max-states", "5"
    result = run("check", str(STARTER), *options)
    text = " ".join(result.out.split())
    assert result.code == 3
    assert "stopped by the bound of 5 states" in text
    assert "not checked in a store that is not complete: stuck-chip" in text
    assert "undecided" in text


def test_a_store_of_another_model_is_refused(tmp_path: Path) -> None:
    """With both digests; nothing in it is changed."""
    store = ("--store", str(tmp_path / "store"), "--threads", "1")
    assert run("check", str(STARTER), *store).code == 0
    before = sorted(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
    twin = str(MODELS / "faulty" / "late_answer.yaml")
    result = run("check", twin, *store)
    assert result.code == 2
    assert "it holds another model" in result.err
    assert result.err.count("digest") == 2
    after = sorted(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
    assert before == after


@pytest.mark.parametrize("reason", ["others may write", "other files", "another modecheck"])
def test_a_folder_that_cannot_be_a_store_is_refused(reason: str, tmp_path: Path) -> None:
    """What lies in a store is run, so nobody else may write there."""
    folder, handle = tmp_path / "store", -1
    folder.mkdir(mode=0o700)
    if reason == "others may write":
        folder.chmod(0o777)
    elif reason == "other files":
        (folder / "notes.txt").write_text("mine", encoding="utf-8")
    else:
        fcntl = pytest.importorskip("fcntl")
        handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT)
        fcntl.flock(handle, fcntl.LOCK_EX)
    with pytest.raises(StoreError, match=reason):
        explore_variant(read_device(str(STARTER)), search=Search(store=str(folder), threads=1))
    if handle >= 0:
        os.close(handle)


def test_options_that_make_no_sense_together_are_refused(tmp_path: Path) -> None:
    """Before anything is made."""
    for options in (("--watch",), ("--with", str(STARTER)), ("--engine", "zones")):
        result = run("check", str(STARTER), "--store", str(tmp_path / "store"), *options)
        assert result.code == 2
        assert "--store takes one device" in result.err
    assert list(tmp_path.iterdir()) == []


def test_what_fits_memory_is_asked_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A store that is complete need not resolve its transitions then, and tells the same."""
    monkeypatch.setattr(StoreExplorer, "fits_memory", FITS_MEMORY)
    device = str(MODELS / "faulty" / "late_answer.yaml")
    small = run("check", device, "--store", str(tmp_path), "--threads", "1")
    assert not list(tmp_path.glob("*/paths/*"))
    large = run("check", device, "--store", str(tmp_path), "--threads", "1", "--memory", "1kB")
    assert list(tmp_path.glob("*/paths/*"))
    assert small.out == run("check", device).out
    assert large.out == run("check", device, "--engine", "compiled").out


def test_no_product_with_an_observer_goes_without_its_transitions(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Although it would fit memory; and where there are none, no loop is said to be absent."""
    monkeypatch.setattr(StoreExplorer, "fits_memory", True)
    device = read_device(str(MODELS / "small" / "turns.yaml"))
    search = Search(store=str(tmp_path), threads=1)
    bare = explore_with(compose(device), search)
    assert bare.complete
    with pytest.raises(NotSearched):
        bare.fair_loop(LoopQuery())
    watched = explore_with(compose(device, observers=("has_its_turn[1]",)), search)
    assert isinstance(watched, SweptStore)
