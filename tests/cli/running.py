"""Run the command line: within this process, or, where a process proves something, in its own."""

from __future__ import annotations

import contextlib
import gc
import io
import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import pytest

import modecheck
from modecheck.cli.main import main

ROOT = Path(modecheck.__file__).parents[1]
MODELS = ROOT / "models"
PATIENCE = 120
"""Seconds before a run counts as hanging; far more than any needs."""


@dataclass(frozen=True, slots=True)
class Run:
    """What a run left behind."""

    code: int
    out: str
    err: str


def environment(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """The environment of a run: quiet however long it takes on a machine that is busy, and with the
    package that is tested.
    """
    kept = {
        name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "COLUMNS")
    }
    return {**kept, "PYTHONPATH": str(ROOT), "MODECHECK_PROGRESS": "never", **(more or {})}


def run(
    *arguments: str,
    folder: Path | None = None,
    env: Mapping[str, str] | None = None,
    given: bytes = b"",
) -> Run:
    """Run the command line within this process, with this to read; none of its streams is a
    terminal. A process of its own would take a third of a second longer and tell the same, which
    `tests/cli/test_processes.py` holds.
    """
    assert not any(name.startswith("PYTHON") for name in env or {}), "needs a process of its own"
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with (
        _as_if_alone(arguments, folder, env),
        mock.patch.multiple(sys, stdin=io.TextIOWrapper(io.BytesIO(given)), stdout=out, stderr=err),
    ):
        try:
            main()
            code: str | int | None = 0
        except SystemExit as end:
            code = end.code
    assert isinstance(code, int)
    return Run(code, *map(_written, (out, err)))


@contextlib.contextmanager
def _as_if_alone(
    arguments: tuple[str, ...], folder: Path | None, env: Mapping[str, str] | None
) -> Iterator[None]:
    """What a process has to itself: its arguments, folder, environment and garbage collector."""
    thresholds = gc.get_threshold()
    with (
        mock.patch.object(sys, "argv", ["modecheck", *arguments]),
        mock.patch.object(sys.modules["__main__"], "__package__", None),  # click asks it for a name
        mock.patch.dict(os.environ, environment(env), clear=True),
        contextlib.chdir(folder or "."),
    ):
        try:
            yield
        finally:
            gc.set_threshold(*thresholds)


def _written(stream: io.TextIOWrapper) -> str:
    stream.flush()
    raw = stream.detach()
    assert isinstance(raw, io.BytesIO)
    return raw.getvalue().decode(errors="replace")


def run_alone(
    *arguments: str, folder: Path | None = None, env: Mapping[str, str] | None = None
) -> Run:
    """Run `python -m modecheck` in a process of its own; what it writes is not a terminal."""
    done = subprocess.run(
        [sys.executable, "-m", "modecheck", *arguments],
        cwd=folder,
        env=environment(env),
        capture_output=True,
        timeout=PATIENCE,
        check=False,
    )
    return Run(
        done.returncode, done.stdout.decode(errors="replace"), done.stderr.decode(errors="replace")
    )


def on_terminal(
    *arguments: str,
    typed: str = "",
    folder: Path | None = None,
    env: Mapping[str, str] | None = None,
) -> tuple[int, str]:
    """The exit code of a run on a terminal of its own, and what was shown there."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "modecheck", *arguments],
        cwd=folder, env=environment({"TERM": "xterm", **(env or {})}),
        stdin=theirs, stdout=theirs, stderr=theirs,
    )  # fmt: skip
    os.close(theirs)
    os.write(ours, typed.encode())
    shown = b""
    while True:
        try:
            more = os.read(ours, 4096)
        except OSError:
            break
        if not more:
            break
        shown += more
    os.close(ours)
    return process.wait(PATIENCE), shown.decode()


def check(text: str | bytes, folder: Path, *arguments: str) -> Run:
    """Check a device file with this text."""
    raw = text if isinstance(text, bytes) else text.encode()
    (folder / "device.yaml").write_bytes(raw)
    return run("check", "device.yaml", *arguments, folder=folder)
