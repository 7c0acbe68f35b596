"""Keeps what is known of each device up to date while its texts change.

Every change ends the check that is running, since it is out of date. A moment later the devices
that the text belongs to are read, and after a longer one they are checked, in another process.
Reading runs in a thread, so requests are answered meanwhile.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
from collections.abc import Callable, Coroutine
from dataclasses import asdict, dataclass, field
from pathlib import Path

import modecheck
from modecheck.editor.bounded_check import CheckOutcome, Request, from_json
from modecheck.editor.diagnostics import FileReading, Problem, problems_found, read_with_problems
from modecheck.editor.moving import moved_problems
from modecheck.editor.real_paths import real_path
from modecheck.editor.settings import Settings
from modecheck.editor.workspace import Workspace
from modecheck.model.parts import Device

BEFORE_READING = 0.02
"""Seconds after a change: enough for those changes that come in one go."""

GRACE = 3.0
"""How many times its seconds a check may take before its process is ended: what it does besides
exploring is not bounded.
"""

MOST_CHECKED = 3
"""Devices that are checked when a file of all of them changes."""

BEGINNING = (
    "import sys; sys.path.insert(0, {root!r}); "
    "from modecheck.editor.{module} import main; sys.exit(main({parent}))"
)
"""The check is that of the same modecheck as the server, wherever both are started."""


@dataclass(slots=True)
class KnownDevice:
    """What is known of a device. `device` is that of the last reading without errors; `outcome` of
    the last check, `found` its problems in the texts of that time, of which `texts` has a copy;
    `checked_texts` are all that were open then.
    """

    reading: FileReading
    device: Device | None = None
    outcome: CheckOutcome | None = None
    found: list[Problem] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    checked_texts: dict[str, str] = field(default_factory=dict)


class Upkeep:
    """`publish` is called with the real paths whose problems may have changed, `tell` with lines
    for the log.
    """

    def __init__(
        self,
        workspace: Workspace,
        publish: Callable[[set[str]], None],
        tell: Callable[[str], None],
    ) -> None:
        self.workspace = workspace
        self.settings = Settings()
        self.known: dict[str, KnownDevice] = {}
        self._publish = publish
        self._tell = tell
        self._touched: dict[str, str] = {}
        self._waiting: asyncio.Task[None] | None = None
        self._reading = asyncio.Lock()

    def touch(self, path: str) -> None:
        """A text has changed."""
        self._touched[real_path(path)] = path
        self._restart()

    def touch_all(self) -> None:
        """Files may have changed, or the settings have."""
        self._touched |= {real: one.path for real, one in self.workspace.buffers.items()}
        self._restart()

    def _restart(self) -> None:
        self.stop()
        with contextlib.suppress(RuntimeError):  # nobody waits where no loop runs
            self._waiting = asyncio.get_running_loop().create_task(self._cycle())

    def stop(self) -> None:
        """End what is running."""
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def problems_of(self, path: str) -> list[Problem]:
        """All that is wrong in one file, as its text is now."""
        real = real_path(path)
        found: list[Problem] = []
        for known in self.known.values():
            found += (one for one in known.reading.problems if real_path(one.path) == real)
            if not known.reading.problems:
                here = [one for one in known.found if real_path(one.path) == real]
                found += moved_problems(here, known.texts, self.workspace)
        return list(dict.fromkeys(found))

    async def _cycle(self) -> None:
        try:
            await asyncio.sleep(BEFORE_READING)
            devices = await self._read()
            if not self.settings.check:
                return
            await asyncio.sleep(max(self.settings.delay - BEFORE_READING, 0))
            for path in devices[:MOST_CHECKED]:
                await self._check(path)
        except asyncio.CancelledError:
            raise
        except Exception as error:  # the server goes on, whatever one device does to it
            self._tell(f"internal error: {type(error).__name__}: {error}")

    async def _read(self) -> list[str]:
        """Read every device that a touched text belongs to; those that can be checked."""
        async with self._reading:
            touched, snapshot = dict(self._touched), self.workspace.snapshot()
            thread = asyncio.to_thread(_readings, snapshot, list(touched.values()))
            readings = await _to_the_end(thread)
            for real, path in touched.items():
                if self._touched.get(real) == path:
                    del self._touched[real]
        changed = set[str]()
        for reading in readings:
            known = self.known.setdefault(reading.path, KnownDevice(reading))
            changed |= _files_of(known)
            known.reading = reading
            known.device = reading.device or known.device
            changed |= _files_of(known) | set(touched)
        changed |= self._forget_closed()
        self._publish(changed)
        return [reading.path for reading in readings if reading.device is not None]

    def request_for(self, path: str) -> Request:
        """What to ask of a device, as its texts are now."""
        texts = dict(self.workspace.held().texts)
        return Request(path, texts, self.settings.states, self.settings.seconds)

    def _forget_closed(self) -> set[str]:
        """Devices of which no file is open any more; the files whose problems they were."""
        gone = set[str]()
        for path, known in list(self.known.items()):
            if not {path, *map(real_path, known.reading.files)} & set(self.workspace.buffers):
                gone |= _files_of(known)
                del self.known[path]
        return gone

    async def _check(self, path: str) -> None:
        known = self.known.get(path)
        if known is None:
            return
        snapshot = self.workspace.snapshot()
        texts = dict(snapshot.held().texts)
        outcome = await checked_elsewhere(self.request_for(path))
        changed = _files_of(known)
        known.outcome, known.checked_texts = outcome, texts
        known.found = problems_found(snapshot, outcome)
        known.texts = {real_path(one.path): snapshot.text_of(one.path) or "" for one in known.found}
        self._publish(changed | _files_of(known))


def _readings(workspace: Workspace, paths: list[str]) -> list[FileReading]:
    """What comes of reading the devices of these files; of a file without one, itself."""
    devices = dict[str, str]()
    for path in paths:
        if real_path(path) in workspace.buffers and not workspace.is_model(path):
            continue
        for device in workspace.devices_of(path) or [path]:
            devices.setdefault(real_path(device), device)
    held = workspace.held()
    return [read_with_problems(workspace, held, path) for path in devices.values()]


def _files_of(known: KnownDevice) -> set[str]:
    """The files in which something is reported, and all others of the device."""
    reported = (one.path for one in (*known.reading.problems, *known.found))
    return {real_path(path) for path in (*reported, *known.reading.files)}


async def _to_the_end(thread: Coroutine[object, object, list[FileReading]]) -> list[FileReading]:
    """Wait for a thread; who is cancelled meanwhile waits until it has ended, since a thread cannot
    be stopped, and two at a time would only slow each other down.
    """
    task = asyncio.ensure_future(thread)
    try:
        return await asyncio.shield(task)
    except asyncio.CancelledError:
        with contextlib.suppress(Exception):
            await task
        raise


async def checked_elsewhere(request: Request) -> CheckOutcome:
    """The outcome of a check in a process of its own, which is ended if this is cancelled."""
    try:
        written = await done_elsewhere("bounded_check", request)
    except TimeoutError:
        return CheckOutcome(request.path, stopped_by=f"the bound of {request.seconds:g} seconds")
    if not written:
        return CheckOutcome(request.path, stopped_by="the end of its process")
    return from_json(written)


async def done_elsewhere(module: str, request: Request) -> bytes:
    """What the `main` of a module beside this one answers in a process of its own; nothing where
    that fails. The process is ended if this is cancelled. Raises `TimeoutError`.
    """
    root = str(Path(modecheck.__file__).parents[1])
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", BEGINNING.format(root=root, module=module, parent=os.getpid()),
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    try:
        given = json.dumps(asdict(request)).encode()
        limit = request.seconds * GRACE + 10
        written, _ = await asyncio.wait_for(process.communicate(given), limit)
        return written if process.returncode == 0 else b""
    finally:
        end(process)


def end(process: asyncio.subprocess.Process) -> None:
    """End a process and all that it has started."""
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
