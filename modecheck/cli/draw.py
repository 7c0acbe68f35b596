"""`modecheck draw`: the pictures of a device."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.options import choice_option, device_argument, exploring_options

if TYPE_CHECKING:
    from modecheck.engine.choice import Search


@click.command("draw")
@device_argument
@click.option("--to", "folder", required=True, metavar="DIR", help="The folder to write to.")
@choice_option
@exploring_options
def command(device: str, folder: str, chosen: dict[str, str], search: Search) -> None:
    """Draw DEVICE: the map of its chips and links, each chip's statechart, its modes.

    Every picture is written as SVG and as DOT text, the same bytes each run.
    """
    import sys
    from functools import partial

    from modecheck.checks.mode_switches import mode_switches
    from modecheck.cli.exit_codes import exit_code
    from modecheck.cli.exploring import reporter_for, variants_of
    from modecheck.draw import drawings, write_drawings
    from modecheck.engine.choice import explore_with
    from modecheck.product.composition import compose
    from modecheck.report.style import show

    found = variants_of(device, chosen, every=False)[0]
    with reporter_for(sys.stderr) as reporter:
        exploration = explore_with(compose(found), search, reporter)
    written = write_drawings(
        drawings(found, mode_switches(exploration)), folder, tell=partial(click.echo, err=True)
    )
    lines = [str(path) for path in written]
    if not exploration.complete:
        lines.append(f"incomplete: stopped by {exploration.stopped_by}; modes shows what was seen")
    show(lines)
    sys.exit(exit_code(found=False, complete=exploration.complete))
