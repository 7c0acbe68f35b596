"""What is found of a cluster whose workers differ, one respect at a time, without any process."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest

from modecheck.engine.cluster import agreement, errands
from modecheck.engine.cluster.agreement import GOOD, UNUSABLE, WARNING, ClusterReport, examine
from modecheck.engine.cluster.connection import Cluster, ConnectedWorker
from modecheck.engine.cluster.errands import WorkerFacts
from modecheck.engine.cluster.parcels import packed
from modecheck.engine.store import tasks
from modecheck.engine.store.row_files import write_rows
from tests.cli.running import environment
from tests.models.bundled import MODELS, TANDEM, name_of

ONE, TWO = "tcp://10.0.0.1:4001", "tcp://10.0.0.2:4002"
SAME = {
    "python": "3.11.7.final.0",
    "modecheck": "0.1.0",
    "numpy": "2.0",
    "llvmlite": "0.50",
    "dask": "2026.8",
    "distributed": "2026.8",
}


@dataclass
class InventedCluster:
    """Two workers that are this process, and say so, but for what a test changes."""

    versions_of: dict[str, dict[str, str | None]] = field(default_factory=dict)
    facts_of: dict[str, Any] = field(default_factory=dict)
    answers: dict[str, Callable[..., Any]] = field(default_factory=dict)
    memory: int = 0
    scheduler: str = ""

    def first_workers(self) -> list[ConnectedWorker]:
        return [ConnectedWorker(one, 2, self.memory) for one in (ONE, TWO)]

    def versions(self, packages: list[str]) -> dict[str, dict[str, str | None]]:
        assert set(packages) < set(SAME)
        places = ("the scheduler", "the client", ONE, TWO)
        return {place: {**SAME, **self.versions_of.get(place, {})} for place in places}

    def on_each(self, function: Callable[..., Any], *arguments: Any) -> dict[str, Any]:
        if function is errands.facts:
            return {one: self._facts(one, arguments[0]) for one in (ONE, TWO)}
        function = self.answers.get(function.__name__, function)
        return {one: function(*arguments) for one in (ONE, TWO)[: len(arguments) or 2]}

    def _facts(self, place: str, folder: str) -> Any:
        own = replace(errands.facts(folder), memory=8 * 10**9, free=10**12)
        changed = self.facts_of.get(place, {})
        return changed if isinstance(changed, Exception) else replace(own, **changed)

    def on_scheduler(self, function: Callable[..., Any]) -> str:
        assert function() > 0
        return self.scheduler


def examined(folder: Path, **changed: Any) -> ClusterReport:
    return examine(cast("Cluster", InventedCluster(**changed)), folder)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder of this user alone, in which nothing is left."""
    own = tmp_path / "store"
    own.mkdir(mode=0o700)
    yield own
    assert list(own.iterdir()) == []


def test_workers_that_agree(folder: Path) -> None:
    """Everything is good; memory is counted for each thread."""
    report = examined(folder, memory=6 * 10**9)
    assert {one.status for one in report.agreements} == {GOOD}
    assert (report.threads, report.memory) == (4, 3 * 10**9)


NOT_SEEN = ["some file"]
DIFFERENCES: list[tuple[str, str, str, dict[str, Any]]] = [
    ("modecheck", UNUSABLE, "0.1.0 here; 0.2.0 on 10.0.0.2:4002",
     {"versions_of": {TWO: {"modecheck": "0.2.0"}}}),
    ("modecheck", UNUSABLE, "0.1.0 here; not installed on the scheduler",
     {"versions_of": {"the scheduler": {"modecheck": None}}}),
    ("numpy", UNUSABLE, "2.0 here; 1.26 on 10.0.0.1:4001",
     {"versions_of": {ONE: {"numpy": "1.26"}}}),
    ("llvmlite", UNUSABLE, "0.50 here; not installed on 10.0.0.1:4001",
     {"versions_of": {ONE: {"llvmlite": None}}}),
    ("Python", UNUSABLE, "3.11.7 here; 3.12.1 on 10.0.0.1:4001",
     {"versions_of": {ONE: {"python": "3.12.1.final.0"}}}),
    ("Python", WARNING, "3.11.7 here; 3.11.9 on 10.0.0.1:4001",
     {"versions_of": {ONE: {"python": "3.11.9.final.0"}}}),
    ("dask", WARNING, "2026.8 here; 2026.9 on the scheduler",
     {"versions_of": {"the scheduler": {"dask": "2026.9"}}}),
    ("answers", UNUSABLE, "cannot import it on 10.0.0.2:4002",
     {"facts_of": {TWO: ImportError("cannot import it")}}),
    ("answers", UNUSABLE, "cannot import it on the scheduler", {"scheduler": "cannot import it"}),
    ("source text", UNUSABLE, "the text of modecheck differs on 10.0.0.1:4001",
     {"facts_of": {ONE: {"digest": "other"}}}),
    ("processors", WARNING, "old (0 more features) on 10.0.0.2:4002",
     {"facts_of": {TWO: {"processor": "old", "features": frozenset()}}}),
    ("permissions", UNUSABLE, "others may write to it (10.0.0.1:4001)",
     {"facts_of": {ONE: {"trouble": "others may write to it"}}}),
    ("folder", UNUSABLE, "cannot be written to: no space (10.0.0.1:4001, 10.0.0.2:4002)",
     {"answers": {"leave_mark": lambda *_: ("name", "no space")}}),
    ("folder", UNUSABLE, "what others write there is not seen by 10.0.0.1:4001, 10.0.0.2:4002",
     {"answers": {"unseen": lambda *_: NOT_SEEN}}),
    ("free disk", WARNING, "0.2 GB at the least", {"facts_of": {ONE: {"free": 2 * 10**8}}}),
    ("memory", WARNING, "0.1 GB at the least for a thread", {"memory": 2 * 10**8}),
    ("clocks", WARNING, "s apart on 10.0.0.1:4001, 10.0.0.2:4002",
     {"answers": {"clock": lambda: 1.0}}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("subject", "status", "told", "changed"),
    DIFFERENCES,
    ids=[f"{subject}-{number}" for number, (subject, *_) in enumerate(DIFFERENCES)],
)
def test_each_difference_is_told(
    subject: str, status: str, told: str, changed: dict[str, Any], folder: Path
) -> None:
    """With the workers that differ; nothing else is said to differ."""
    report = examined(folder, **changed)
    different = [one for one in report.agreements if one.status != GOOD]
    assert [(one.subject, one.status) for one in different] == [(subject, status)]
    assert told in different[0].told


def test_many_workers_are_counted() -> None:
    """A table has no room for the names of hundreds."""
    named = agreement._named(f"tcp://10.0.0.{number}:1" for number in range(9))
    assert named == "10.0.0.0:1, 10.0.0.1:1, 10.0.0.2:1 and 6 more"


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    """By each worker for itself."""
    found: WorkerFacts = errands.facts(str(tmp_path / "none"))
    assert found.trouble == "no such file or directory"
    assert found.user == os.geteuid()


def test_marks_tell_whether_a_folder_is_shared(tmp_path: Path) -> None:
    """A file that is missing, or that holds something else, is not seen."""
    name, why = errands.leave_mark(str(tmp_path), "run")
    assert why == ""
    (tmp_path / "changed").write_text("something", encoding="utf-8")
    assert errands.unseen(str(tmp_path), [name, "changed", "none"]) == ["changed", "none"]
    assert errands.leave_mark(str(tmp_path / "none"), "run")[1] == "no such file or directory"


def test_a_worker_forgets_what_an_earlier_run_had_in_a_folder(tmp_path: Path) -> None:
    """Another product may be there now; of the same run everything is remembered."""
    tasks.opened.cache_clear()
    (tmp_path / "rows").touch()
    sizes = []
    for run in ("first", "first", "second"):
        errands.do_task(str(tmp_path), run, errands.text_digest(), packed(tmp_path, (len, ("ab",))))
        sizes.append(tasks.opened.cache_info().currsize)
        write_rows(tmp_path / "rows", 1, [np.arange(3, dtype=np.uint64)])
        tasks.opened(str(tmp_path / "rows"))
    assert sizes == [0, 1, 0]


def test_a_worker_that_runs_other_code_does_nothing(tmp_path: Path) -> None:
    """Whoever sends the task."""
    with pytest.raises(errands.UnlikeClientError):
        errands.do_task(str(tmp_path), "run", "other", packed(tmp_path, (len, ("ab",))))


NUMBERED = """\
import sys
from modecheck.engine.native.machine import compiled
from modecheck.engine.reference.system_actions import system_actions
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
product = compose(read_device(sys.argv[1]))
machine = compiled(product, system_actions(product), level=0)
print([str(one) for one in machine.failures], list(machine.seen.items()), machine.most_records)
"""


@pytest.mark.thorough
@pytest.mark.parametrize("path", [TANDEM, MODELS / "faulty" / "volatile_bond.yaml"], ids=name_of)
def test_workers_that_compile_for_themselves_number_alike(path: Path, tmp_path: Path) -> None:
    """What tasks return are numbers, which mean the same in every process."""
    told = set()
    for seed in ("1", "2", "77"):
        own = environment({"PYTHONHASHSEED": seed, "MODECHECK_CACHE": str(tmp_path / seed)})
        program = [sys.executable, "-c", NUMBERED, str(path)]
        told.add(subprocess.run(program, env=own, capture_output=True, check=True).stdout)
    assert len(told) == 1
    assert told != {b""}
