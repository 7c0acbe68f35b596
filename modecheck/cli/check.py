"""`modecheck check`: explore a device and tell what can go wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.options import (
    choice_option,
    device_argument,
    exploring_options,
    reduce_option,
)
from modecheck.cli.outputs import OUTPUTS, need_all_writable, output_options, write_outputs

if TYPE_CHECKING:
    from modecheck.engine.choice import Search


CACHED = "cached: nothing has changed since this was explored; --no-cache explores it anew"


@click.command("check")
@device_argument
@choice_option
@click.option("--every-option", is_flag=True, help="Check every combination of options.")
@output_options
@click.option("--no-cache", is_flag=True, help="Explore also what did not change since last time.")
@click.option("--quiet", is_flag=True, help="Say nothing when nothing is found.")
@reduce_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    every_option: bool,
    no_cache: bool,
    quiet: bool,
    reductions: tuple[str, ...],
    search: Search,
    **outputs: str | None,
) -> None:
    """Explore DEVICE completely and tell what can go wrong.

    Each cause is told once, with the shortest scenario that leads to it.
    """
    import sys
    from dataclasses import replace

    from modecheck.checks.kept_verdicts import check_or_recall
    from modecheck.checks.verdict import check
    from modecheck.cli.exit_codes import NOTHING_FOUND, exit_code
    from modecheck.cli.exploring import reporter_for, variants_of
    from modecheck.report.style import show, style_for
    from modecheck.report.terminal import verdict_as_text

    files = {name: outputs[f"{name}_file"] for name in OUTPUTS}
    need_all_writable(files)
    devices = variants_of(device, chosen, every=every_option)
    search = replace(search, symmetry="symmetry" in reductions, order="order" in reductions)
    with reporter_for(sys.stderr) as reporter:
        if no_cache:
            verdict, cached = check(devices, search=search, reporter=reporter), False
        else:
            verdict, cached = check_or_recall(devices, search, reporter)
    write_outputs(verdict, files)
    code = exit_code(found=bool(verdict.findings), complete=verdict.complete)
    if not (quiet and code == NOTHING_FOUND):
        show(verdict_as_text(verdict, style_for(sys.stdout)))
        if cached:
            show([CACHED], sys.stderr)
    sys.exit(code)
