"""`modecheck roam`: random walks through a device that is too large to explore."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present

if TYPE_CHECKING:
    from modecheck.engine.choice import EngineName

DEEPEST = 20_000
"""The longest run: the paths to rare states are stored completely."""
USUAL_SECONDS = 10.0


@click.command(
    "roam",
    epilog=exit_codes(
        "nothing was seen, which proves nothing",
        found="an error was seen",
        incomplete="interrupted",
    ),
)
@device_argument
@choice_option
@click.option(
    "--seconds",
    type=click.FloatRange(min=0, min_open=True),
    metavar="S",
    help="Stop after about S seconds' worth of steps, counted rather than timed, so that the "
    f"result is reproducible (default: {USUAL_SECONDS:g}, unless --runs is given).",
)
@click.option("--runs", type=click.IntRange(min=1), metavar="N", help="Stop after N runs.")
@click.option(
    "--depth",
    type=click.IntRange(min=1, max=DEEPEST),
    default=400,
    show_default=True,
    metavar="N",
    help="The maximum number of steps in a run.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0, max=2**63 - 1),
    default=1,
    show_default=True,
    metavar="N",
    help="Seed of the random numbers; the same seed gives the same result.",
)
@json_option("result")
@markdown_option
@click.option(
    "--engine",
    type=click.Choice(["auto", "plain", "compiled"]),
    default="auto",
    show_default=True,
    help="auto uses compiled where it can; both take the same walks.",
)
def command(
    device: str,
    chosen: dict[str, str],
    seconds: float | None,
    runs: int | None,
    depth: int,
    seed: int,
    json_file: str | None,
    markdown_file: str | None,
    engine: EngineName,
) -> None:
    """Walk at random through DEVICE and report what was seen.

    Covers all variants. For products that are too large to explore: what was not seen may still
    exist.
    """
    import sys

    from modecheck.checks.roaming.roam import Roaming, roam
    from modecheck.cli.exploring import reporter_for, told_variants_of
    from modecheck.report.roam_json import roamed_as_json
    from modecheck.report.roam_report import roam_report
    from modecheck.report.whole_files import write_json

    need_all_writable({"json": json_file, "markdown": markdown_file})
    if seconds is None and runs is None:
        seconds = USUAL_SECONDS
    devices = told_variants_of(device, chosen, every=True)
    how = Roaming(runs=runs, seconds=seconds, depth=depth, seed=seed, engine=engine)
    with reporter_for(sys.stderr, "walking at random"):
        roamed = roam(devices, how)
    if json_file is not None:
        write_json(json_file, roamed_as_json(roamed))
    present(roam_report(roamed), markdown_file)
    sys.exit(exit_code(found=bool(roamed.findings), complete=True))
