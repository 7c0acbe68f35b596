"""`modecheck check`: explore devices and report what can go wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_codes
from modecheck.cli.options import FILE, choice_option, exploring_options, reduce_option
from modecheck.cli.outputs import OUTPUTS, markdown_option, output_options
from modecheck.cli.showing_options import showing_options
from modecheck.cli.watching import repeated, watch_option

if TYPE_CHECKING:
    from modecheck.engine.choice import Search
    from modecheck.report.showing import Showing


@click.command(
    "check",
    epilog=exit_codes(found="findings (with --with: new ones)"),
)
@click.argument("devices", nargs=-1, required=True, metavar="DEVICE...", type=FILE)
@choice_option
@click.option("--every-option", is_flag=True, help="Check every combination of options.")
@click.option(
    "--with",
    "over",
    metavar="FILE",
    type=FILE,
    help="Lay FILE over DEVICE; report what it changes.",
)
@showing_options
@output_options
@markdown_option
@click.option("--no-cache", is_flag=True, help="Explore again even if nothing has changed.")
@click.option(
    "--costs", is_flag=True, help="List the states and seconds that each requirement took."
)
@click.option("--quiet", is_flag=True, help="Print nothing when nothing is found.")
@watch_option
@click.option(
    "--store",
    metavar="FOLDER",
    type=click.Path(file_okay=False),
    help="Keep states in files of FOLDER, for products larger than memory, and go on there after a "
    "stop. What is asked, and found, is the same as in memory.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Let the workers of a Dask cluster explore into --store: its tcp://host:port, or the "
    "scheduler's file. modecheck cluster-check reports whether they can.",
)
@reduce_option
@exploring_options
def command(
    devices: tuple[str, ...],
    chosen: dict[str, str],
    every_option: bool,
    over: str | None,
    no_cache: bool,
    costs: bool,
    quiet: bool,
    watch: bool,
    store: str | None,
    cluster: str | None,
    reductions: tuple[str, ...],
    search: Search,
    showing: Showing,
    markdown_file: str | None,
    **outputs: str | None,
) -> None:
    """Explore DEVICE exhaustively and report what can go wrong.

    Each cause is reported once, with the shortest scenario that leads to it. The exit code and the
    files are about all findings, however many are shown. Several devices are checked one after
    the other; each file then holds the results of all.
    """
    import sys
    from dataclasses import replace

    from modecheck.cli.check_job import CheckJob
    from modecheck.cli.outputs import need_all_writable

    files = {name: outputs[f"{name}_file"] for name in OUTPUTS} | {"markdown": markdown_file}
    need_all_writable(files)
    if store is not None and (over or watch or len(devices) > 1 or search.engine != "auto"):
        raise click.UsageError(
            "--store takes one device, and cannot be combined with --with, --watch or --engine"
        )
    if cluster is not None and store is None:
        raise click.UsageError("--cluster needs --store FOLDER, a folder that all workers see")
    search = replace(
        search,
        store=store,
        cluster=cluster,
        symmetry="symmetry" in reductions,
        order="order" in reductions,
        time_acceleration="time" in reductions,
    )
    cache = not no_cache and store is None
    job = CheckJob(
        devices, chosen, search, showing, files,
        every_option=every_option, over=over, cache=cache, costs=costs, quiet=quiet,
    )  # fmt: skip
    sys.exit(repeated(job.run, job.named, watch=watch))
