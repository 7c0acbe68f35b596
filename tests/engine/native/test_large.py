"""Products that are too large for the plain interpreter, and limits on the way."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits, Space
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.benchmarks.explore import counters
from tests.sweeps import sweep

PUBLISHED = Path("models/published")
CUBE_LAYERS = [1, 9, 54, 321, 1847, 9992, 50136, 227536, 870072, 1887748, 623800, 2644]
PUZZLE_LAYERS = [
    1, 2, 4, 8, 16, 20, 39, 62, 116, 152, 286, 396, 748, 1024, 1893, 2512, 4485, 5638, 9529, 10878,
    16993, 17110, 23952, 20224, 24047, 15578, 14560, 6274, 3910, 760, 221, 2,
]  # fmt: skip


def explored(name: str, threads: int) -> Space:
    product = compose(read_device(str(PUBLISHED / f"{name}.yaml")))
    return explore_with(product, Search(engine="compiled", threads=threads))


@pytest.mark.thorough
@pytest.mark.parametrize("threads", sweep([1, 2], lambda threads: threads == 2))
def test_the_small_cube(threads: int) -> None:
    """The 2×2×2 cube, one corner fixed: OEIS A079761 (published value read and recomputed)."""
    space = explored("cube_2x2x2", threads)
    assert space.state_count == 3_674_160
    assert space.layers == CUBE_LAYERS
    assert space.transitions == 33_067_440


@pytest.mark.parametrize("threads", [1, 2])
def test_the_eight_puzzle(threads: int) -> None:
    """The 8-puzzle, blank in a corner: OEIS A089473 (published value read and recomputed)."""
    space = explored("eight_puzzle", threads)
    assert space.layers == PUZZLE_LAYERS
    assert space.transitions == 483_840


@pytest.mark.parametrize("threads", [1, 2])
def test_the_shift_register(threads: int) -> None:
    """Taps (16, 15, 13, 4) give the longest sequence of 16 bits (from memory and recomputed)."""
    space = explored("shift_register_16", threads)
    assert space.state_count == 65_535
    assert space.layers == [1] * 65_535


@pytest.fixture
def octal(tmp_path: Path) -> Path:
    """Eight octal counters: 8^8 states, more than the limits below allow for."""
    path = tmp_path / "device.yaml"
    path.write_text(counters(8), encoding="utf-8")
    return path


@pytest.fixture
def endless(tmp_path: Path) -> Path:
    """Ten octal counters: a billion states, which no machine explores while a test waits."""
    path = tmp_path / "device.yaml"
    path.write_text(counters(10), encoding="utf-8")
    return path


def test_layers_of_counters_are_coefficients(tmp_path: Path) -> None:
    """Layers of n counters modulo 8 are the coefficients of (1 + x + … + x^7)^n (algebra)."""
    path = tmp_path / "device.yaml"
    path.write_text(counters(6), encoding="utf-8")
    coefficients = [1]
    for _ in range(6):
        wider = [0] * (len(coefficients) + 7)
        for power, count in enumerate(coefficients):
            for step in range(8):
                wider[power + step] += count
        coefficients = wider
    space = explore_with(compose(read_device(str(path))), Search(engine="compiled", threads=2))
    assert space.layers == coefficients


def run(*arguments: str, errors: int = subprocess.PIPE) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "modecheck", "check", *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, text=True)


LAUNCH = """
import resource, subprocess, sys
done = subprocess.run([sys.executable, "-m", "modecheck", *sys.argv[1:]], capture_output=True)
held = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
print(done.returncode, held * (1 if sys.platform == "darwin" else 1024))
"""
"""A small process between: the peak of a process begins with that of the one that starts it."""


@pytest.mark.thorough
def test_the_memory_bound_is_kept(octal: Path, tmp_path: Path) -> None:
    """Exit code 3, what was explored is told, and memory stays within a tenth of the bound."""
    bound, report = 400_000_000, tmp_path / "out.json"
    command = [sys.executable, "-c", LAUNCH, "check", str(octal), "--memory", "400MB"]
    launched = subprocess.run(
        [*command, "--json", str(report)], capture_output=True, text=True, check=True
    )
    code, held = (int(word) for word in launched.stdout.split())
    assert code == 3
    result = json.loads(report.read_text(encoding="utf-8"))
    assert result["complete"] is False
    assert result["states"] > 100_000
    assert held < bound * 1.1


@pytest.mark.usefixtures("interruptible")
def test_an_interruption_is_told(endless: Path) -> None:
    """Ctrl-C ends the exploration, not the report. It comes when progress has been shown."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    process = run(str(endless), errors=theirs)
    os.close(theirs)
    seen = b""
    while b"states/s" not in seen:
        seen += os.read(ours, 4096)
    process.send_signal(signal.SIGINT)
    shown, _ = process.communicate(timeout=120)
    os.close(ours)
    assert process.returncode == 3, shown
    assert "stopped by an interruption" in " ".join(shown.split())


def test_a_bound_of_time_is_told(endless: Path) -> None:
    """What was found in the time is reported, and nothing is claimed about the rest."""
    shown, _ = run(str(endless), "--max-seconds", "0.5").communicate(timeout=120)
    assert "stopped by the bound of 0.5 seconds" in " ".join(shown.split())


def test_limits_of_states_count_in_both_engines(octal: Path) -> None:
    """A bound is a bound, whichever engine is at work when it is reached."""
    product = compose(read_device(str(octal)))
    for engine in ("auto", "plain", "compiled"):
        search = Search(engine=engine, limits=Limits(states=10_000))
        assert explore_with(product, search).stopped_by == "the bound of 10,000 states"
