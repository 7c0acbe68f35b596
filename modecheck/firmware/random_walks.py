"""Random walks of the whole device, in which a chip's C code takes the place of the chip."""

from __future__ import annotations

import os
import random
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass

from modecheck.firmware.c_adapter import built
from modecheck.firmware.c_bench import Bench
from modecheck.model.parts import Device
from modecheck.testing.conformance_run import ConformanceRun
from modecheck.testing.mismatches import Disagreement

WALKS = 1000
STEPS = 30
SEED = 1


@dataclass(frozen=True, slots=True)
class Walked:
    """How many walks and steps were taken, and where the code deviated, or nothing."""

    walks: int
    steps: int
    deviation: str = ""


def walked(bench: Bench, files: Mapping[str, str], device: Device) -> Walked:
    """Let the code take part in random walks, until it deviates."""
    chip, steps = bench.code.plan.chip.name, 0
    drawn = random.Random(SEED)  # noqa: S311 - walks, not secrets
    with tempfile.TemporaryDirectory(prefix="modecheck-") as folder:
        for name, text in files.items():
            with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
                file.write(text)
        sources = [os.path.join(folder, name) for name in files if name.endswith(".c")]
        adapter = built(bench, sources, folder)
        run = ConformanceRun(device, chip, lambda _: adapter)
        for walk in range(1, WALKS + 1):
            try:
                run.begin()
                for _ in range(STEPS):
                    run.take(drawn.choice(list(run.choices)))
                    steps += 1
            except Disagreement as deviation:
                return Walked(walk, steps, str(deviation))
    return Walked(WALKS, steps)
