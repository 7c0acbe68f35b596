"""Plant every faulty twin in a repository, and run the documented job on each commit.

    python -m tests.gate_of_all_twins [TWIN ...]

Prints a line for each; exit code 1 when the job misses one. It takes minutes, for those of tandem.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.cli.running import MODELS
from tests.gate import need_caught, repository_in


def main() -> int:
    """Plant the twins named, or all."""
    names = sys.argv[1:] or sorted(path.stem for path in (MODELS / "faulty").glob("*.yaml"))
    missed = 0
    for name in names:
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            try:
                need_caught(name, repository_in(Path(folder)))
                said = "caught"
            except AssertionError as error:
                missed += 1
                said = f"MISSED: {error}"
        sys.stdout.write(f"{name}: {said} ({time.monotonic() - began:.1f} s)\n")
        sys.stdout.flush()
    sys.stdout.write(f"{len(names) - missed} of {len(names)} caught\n")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
