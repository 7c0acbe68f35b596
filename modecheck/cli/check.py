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

if TYPE_CHECKING:
    from modecheck.engine.choice import Search


@click.command("check")
@device_argument
@choice_option
@click.option("--every-option", is_flag=True, help="Check every combination of options.")
@click.option("--json", "json_file", metavar="FILE", help="Write the result as JSON, too.")
@reduce_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    every_option: bool,
    json_file: str | None,
    reductions: tuple[str, ...],
    search: Search,
) -> None:
    """Explore DEVICE completely and tell what can go wrong.

    Each cause is told once, with the shortest scenario that leads to it.
    """
    import sys
    from dataclasses import replace

    from modecheck.checks.verdict import check
    from modecheck.cli.exit_codes import exit_code
    from modecheck.cli.exploring import reporter_for, variants_of
    from modecheck.report.files import need_writable, write_json
    from modecheck.report.style import show, style_for
    from modecheck.report.terminal import verdict_as_text

    if json_file is not None:
        need_writable(json_file)
    devices = variants_of(device, chosen, every=every_option)
    search = replace(search, symmetry="symmetry" in reductions, order="order" in reductions)
    with reporter_for(sys.stderr) as reporter:
        verdict = check(devices, search=search, reporter=reporter)
    if json_file is not None:
        from modecheck.report.as_json import verdict_as_json

        write_json(json_file, verdict_as_json(verdict))
    show(verdict_as_text(verdict, style_for(sys.stdout)))
    sys.exit(exit_code(found=bool(verdict.findings), complete=verdict.complete))
