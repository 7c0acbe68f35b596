"""Run `python -m modecheck` in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

import modecheck

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


def run(*arguments: str, folder: Path | None = None, env: Mapping[str, str] | None = None) -> Run:
    """Run the command line; what it writes is not a terminal."""
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
