"""A second compiler accepts the code, too, with every warning being an error."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from modecheck.firmware.c_source import STYLES
from modecheck.firmware.chip_plan import plan_of
from modecheck.firmware.compiler import STRICT
from modecheck.model.devices import read_device
from tests.firmware.made import chips_with_code, files_of_plan
from tests.models.bundled import CLEAN, STARTER, name_of
from tests.sweeps import sweep

SECOND = "clang"

pytestmark = pytest.mark.skipif(shutil.which(SECOND) is None, reason=f"there is no {SECOND}")


@pytest.mark.parametrize("path", sweep(CLEAN, lambda path: path == STARTER), ids=name_of)
def test_the_code_of_every_chip_compiles(path: Path, tmp_path: Path) -> None:
    """In both styles, with the checks of debug builds and without."""
    device = read_device(str(path))
    for name in chips_with_code(device):
        for style in STYLES:
            bench, files = files_of_plan(plan_of(device, name), style)
            for file, text in files.items():
                (tmp_path / file).write_text(text, encoding="utf-8")
            source = str(tmp_path / f"{bench.code.words.prefix}.c")
            for option in ("-Os", f"-D{bench.code.words.names.constant('debug')}"):
                command = [SECOND, *STRICT, option, "-fsyntax-only", source]
                done = subprocess.run(command, capture_output=True, text=True, check=False)
                assert (done.returncode, done.stderr) == (0, "")
