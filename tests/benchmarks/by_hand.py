"""The baseline that anyone could write: octal counters in C++, compiled where a compiler is."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

SOURCE = Path(__file__).with_name("octal_counters.cpp")


def rate_by_hand(counters: int, *, repeats: int = 2) -> float | None:
    """States a second of the hand-written program, the best of some runs; None where there is no
    compiler of C++.
    """
    compiler = shutil.which(os.environ.get("CXX", "g++"))
    if compiler is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        program = os.path.join(folder, "octal_counters")
        made = [compiler, "-O3", "-march=native", "-o", program, str(SOURCE)]
        subprocess.run(made, check=True)
        return max(_rate([program, str(counters)]) for _ in range(repeats))


def _rate(command: list[str]) -> float:
    run = subprocess.run(command, check=True, capture_output=True, text=True)
    states, _, seconds = run.stdout.split()
    return int(states) / float(seconds)
