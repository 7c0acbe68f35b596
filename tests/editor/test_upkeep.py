"""What is known of a device follows its texts, and a check that is out of date ends."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from modecheck.editor import upkeep as module
from modecheck.editor.bounded_check import CheckOutcome, Request
from modecheck.editor.settings import Settings
from modecheck.editor.upkeep import Upkeep, checked_elsewhere
from modecheck.editor.workspace import Workspace, uri_of
from modecheck.model.text_files import real_path
from tests.editor.texts import MODELS

PUZZLE = MODELS / "published" / "eight_puzzle.yaml"
PATIENCE = 60
DEVICE = "device: x\nchips: {a: {file: a.yaml}}\nmodes: {m: a.state == p}\n"
CHIP = "chip: a\nstates: {p: {}, q: {rest: true}}\nrules: {go: {in: p, to: q}}\n"


def kept(folder: Path, *, check: bool = True) -> tuple[Upkeep, list[set[str]], list[str]]:
    """The upkeep of a device and its chip, which lie in a folder; what is shown, and the log."""
    (folder / "device.yaml").write_text(DEVICE, encoding="utf-8")
    (folder / "a.yaml").write_text(CHIP, encoding="utf-8")
    shown: list[set[str]] = []
    told: list[str] = []
    upkeep = Upkeep(Workspace(), shown.append, told.append)
    upkeep.settings = Settings(check=check, delay=0)
    return upkeep, shown, told


def edit(upkeep: Upkeep, path: Path, text: str) -> None:
    upkeep.workspace.put(uri_of(str(path)), text)
    upkeep.touch(str(path))


async def settled(upkeep: Upkeep) -> None:
    """Wait until nothing more is to be done."""
    assert upkeep._waiting is not None
    await asyncio.wait_for(upkeep._waiting, PATIENCE)


def answering(
    monkeypatch: pytest.MonkeyPatch, answer: Callable[[Request], Awaitable[CheckOutcome]]
) -> None:
    """Let checks be answered in this process."""
    monkeypatch.setattr(module, "checked_elsewhere", answer)


def test_a_chip_is_read_with_the_device_that_names_it(tmp_path: Path) -> None:
    """Errors of one file show while another is written, and go when it is right again."""

    async def session() -> None:
        upkeep, shown, _ = kept(tmp_path, check=False)
        chip, device = tmp_path / "a.yaml", tmp_path / "device.yaml"
        edit(upkeep, chip, CHIP.replace("p: {}, ", "").replace("in: p, ", ""))
        await settled(upkeep)
        assert [one.message for one in upkeep.problems_of(str(device))] == [
            "a has no state 'p'; expected 'q'"
        ]
        edit(upkeep, chip, CHIP)
        await settled(upkeep)
        assert upkeep.problems_of(str(device)) == []
        assert real_path(str(device)) in shown[-1]

    asyncio.run(session())


def test_a_device_is_read_with_that_which_is_laid_over_it(tmp_path: Path) -> None:
    """What a text beneath takes away is missed in the one that is open above it."""

    async def session() -> None:
        upkeep, shown, _ = kept(tmp_path, check=False)
        device, over = tmp_path / "device.yaml", tmp_path / "over.yaml"
        edit(upkeep, over, "device: y\nbased_on: device.yaml\nmodes: {m: null}\n")
        edit(upkeep, device, DEVICE)
        await settled(upkeep)
        assert upkeep.problems_of(str(over)) == []
        edit(upkeep, device, DEVICE.partition("modes:")[0])
        await settled(upkeep)
        assert len(upkeep.problems_of(str(over))) == 1
        assert real_path(str(over)) in shown[-1]

    asyncio.run(session())


def test_a_change_ends_the_check_that_is_running(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its answer would be about a text that is gone; the next one is about the text as it is."""
    asked: list[str] = []
    ended: list[str] = []

    async def answer(request: Request) -> CheckOutcome:
        text = request.texts[real_path(str(tmp_path / "device.yaml"))]
        asked.append(text)
        try:
            await asyncio.sleep(0 if text.endswith("# 2\n") else PATIENCE)
        except asyncio.CancelledError:
            ended.append(text)
            raise
        return CheckOutcome(request.path, states=2)

    async def session() -> None:
        answering(monkeypatch, answer)
        upkeep, _, told = kept(tmp_path)
        edit(upkeep, tmp_path / "device.yaml", DEVICE + "# 1\n")
        while not asked:
            await asyncio.sleep(0.01)
        edit(upkeep, tmp_path / "device.yaml", DEVICE + "# 2\n")
        await settled(upkeep)
        assert asked == [DEVICE + "# 1\n", DEVICE + "# 2\n"]
        assert ended == asked[:1]
        assert [known.outcome for known in upkeep.known.values()] == [
            CheckOutcome(str(tmp_path / "device.yaml"), states=2)
        ]
        assert told == []

    asyncio.run(session())


def test_a_check_that_is_given_up_leaves_no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is ended with all that it has started, however far it is."""
    started: list[asyncio.subprocess.Process] = []
    begin = asyncio.create_subprocess_exec

    async def recorded(*command: str, **given: object) -> asyncio.subprocess.Process:
        started.append(await begin(*command, **given))  # type: ignore[arg-type]
        return started[-1]

    async def session() -> None:
        monkeypatch.setattr(asyncio, "create_subprocess_exec", recorded)
        request = Request(str(PUZZLE), {}, 10**8, 1000.0)
        check = asyncio.ensure_future(checked_elsewhere(request))
        while not started:
            await asyncio.sleep(0.01)
        check.cancel()
        with pytest.raises(asyncio.CancelledError):
            await check
        assert await asyncio.wait_for(started[0].wait(), PATIENCE) == -9

    asyncio.run(session())


@pytest.mark.thorough
def test_a_check_in_another_process_finds_what_it_would_find_here() -> None:
    """Within its bounds; an error in the input is no crash."""

    async def session() -> None:
        outcome = await checked_elsewhere(Request(str(PUZZLE), {}, 2000, 1000.0))
        assert outcome.stopped_by == "the bound of 2,000 states"
        texts = {real_path(str(PUZZLE)): "device: ["}
        outcome = await checked_elsewhere(Request(str(PUZZLE), texts, 2000, 1000.0))
        assert "not valid YAML" in outcome.stopped_by

    asyncio.run(session())


def test_what_goes_wrong_inside_is_told_and_does_not_end_the_upkeep(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line in the log, and the next change is followed as usual."""

    async def fail(request: Request) -> CheckOutcome:
        raise RuntimeError(request.path[-11:])

    async def session() -> None:
        answering(monkeypatch, fail)
        upkeep, shown, told = kept(tmp_path)
        for count in (1, 2):
            edit(upkeep, tmp_path / "a.yaml", CHIP + "#" * count)
            await settled(upkeep)
        assert told == ["internal error: RuntimeError: device.yaml"] * 2
        assert len(shown) == 2

    asyncio.run(session())


def test_a_text_that_is_no_model_is_left_alone(tmp_path: Path) -> None:
    """An editor may start the server for every YAML file."""

    async def session() -> None:
        upkeep, _, _ = kept(tmp_path)
        path = tmp_path / "other.yaml"
        edit(upkeep, path, "services: [{a: b}, a\n")
        await settled(upkeep)
        assert upkeep.problems_of(str(path)) == []
        edit(upkeep, path, "# modecheck\nservices: [{a: b}, a\n")
        await settled(upkeep)
        assert len(upkeep.problems_of(str(path))) == 1

    asyncio.run(session())


@pytest.mark.thorough
def test_a_check_ends_with_the_server_that_has_started_it() -> None:
    """Even if that is ended from outside and cannot end anything itself."""
    starting = (
        "import subprocess, sys; print(subprocess.Popen([sys.executable, '-c', "
        "'from modecheck.editor.ending import end_with_parent; import os, time; "
        "end_with_parent(os.getppid()); time.sleep(500)'], stdout=subprocess.DEVNULL).pid, "
        "flush=True); import time; time.sleep(500)"
    )
    server = subprocess.Popen([sys.executable, "-c", starting], stdout=subprocess.PIPE)
    assert server.stdout is not None
    check = int(server.stdout.readline())
    time.sleep(2)  # until it knows its parent
    server.kill()
    server.wait()
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        try:
            os.kill(check, 0)
        except ProcessLookupError:
            return
        time.sleep(0.2)
    os.kill(check, 9)
    pytest.fail("the check goes on")
