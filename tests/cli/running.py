"""Run `python -m modecheck` in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

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
    """The environment of a run: quiet, and with the package that is tested."""
    kept = {
        name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "COLUMNS")
    }
    return {**kept, "PYTHONPATH": str(ROOT), **(more or {})}


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


def check(text: str | bytes, folder: Path, *arguments: str) -> Run:
    """Check a device file with this text."""
    raw = text if isinstance(text, bytes) else text.encode()
    (folder / "device.yaml").write_bytes(raw)
    return run("check", "device.yaml", *arguments, folder=folder)
