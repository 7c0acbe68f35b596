"""A check in another process tells what a check in this one tells."""

from __future__ import annotations

import os
import subprocess
import sys
import threading

import pytest

from modecheck.checks.verdict_cache import check_forked
from modecheck.engine.choice import Search
from modecheck.engine.contract import forked_task
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device
from tests.cli.running import MODELS, environment

BOTH = """
from modecheck.engine.contract.forked_task import ForkedTask
from modecheck.checks.verdict_cache import slim
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device

def told(verdict):
    spaces = [(one.exploration.state_count, one.exploration.stopped_by) for one in verdict.explored]
    judged = [(one.need.name, one.verdict, one.remark) for one in verdict.requirements]
    return spaces, verdict.complete, verdict.findings, judged

device = read_device(DEVICE)
for search in (Search(), Search(limits=Limits(states=5))):
    begun = ForkedTask(lambda: slim(check([device], search=search)))
    assert told(begun.result()) == told(slim(check([device], search=search)))
zones = Search(engine="zones")
assert ForkedTask(lambda: check([device], search=zones)).result() is None, "no clock, no zones"
print("told")
"""


def test_other_process_tells_the_same() -> None:
    """Findings with their scenarios, requirements and figures, also where a bound was hit; nothing
    where the check failed, which is then for this process to say.
    """
    device = str(MODELS / "faulty" / "silent_plug.yaml")
    # In a process without threads, as the command line is.
    done = subprocess.run(
        [sys.executable, "-c", BOTH.replace("DEVICE", repr(device))],
        env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.stdout == "told\n", done.stderr


@pytest.mark.skipif(not hasattr(os, "fork"), reason="there is no other process to be had")
def test_no_process_is_begun_for_nothing() -> None:
    """Not where there is one core, not where memory is bounded, not for what is small."""
    small = [read_device(str(MODELS / "starter" / "device.yaml"))]
    large = [read_device(str(MODELS / "tandem" / "device.yaml"))]
    assert check_forked(large, Search(threads=1)) is None
    assert check_forked(large, Search(threads=2, limits=Limits(memory=1 << 30))) is None
    assert check_forked(small, Search(threads=2)) is None


def test_a_process_that_holds_a_device_is_not_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a copy could not use would be there, and fail when it is used."""
    monkeypatch.setattr(forked_task, "_whole", [])
    monkeypatch.setattr(
        threading, "active_count", lambda: 1
    )  # others than this test's do not count
    assert forked_task.can_begin(2, Limits())
    forked_task.make_no_copies()
    assert not forked_task.can_begin(2, Limits())
