"""How fast a long log is held against the model.

    python -m tests.benchmarks.follow [lines]

Logs of a million lines, unless told otherwise, made by walking the interpreter: of the starter and
of tandem, with all chips recorded and with some left out; as CSV and as JSON lines. Reading and
following are timed together.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from random import Random

from modecheck.bench.log_comparison import compare_log
from tests.bench.recording import chips_of, product_of, record, write_csv, write_json_lines

LINES = 1_000_000
RECORDED = {
    "starter/device": [(), ("pedal",)],
    "tandem/device": [(), ("laptop", "tablet"), ("front_switch", "front_bridge")],
}
"""For each model, chips that are left out of the log."""


def main() -> None:
    """Print lines a second for each log."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else LINES
    with tempfile.TemporaryDirectory() as folder:
        for name, left_out in RECORDED.items():
            product = product_of(name)
            for missing in left_out:
                recorded = tuple(chip for chip in chips_of(product) if chip not in missing)
                rows = record(product, recorded, count, Random(1))  # noqa: S311
                for write in (write_csv, write_json_lines):
                    log = write(Path(folder) / "log", rows)
                    began = time.perf_counter()
                    compared = compare_log(product, log, recorded)
                    took = time.perf_counter() - began
                    print(
                        f"{name} without {', '.join(missing) or 'nothing'}, "
                        f"{write.__name__.removeprefix('write_')}: {compared.answer}, "
                        f"{len(rows):,} lines in {took:.1f} s, {len(rows) / took:,.0f} lines/s, "
                        f"at most {compared.followed.most:,} explanations"
                    )


if __name__ == "__main__":
    main()
